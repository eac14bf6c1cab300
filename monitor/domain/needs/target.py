"""What an egg should lose, and by when: a source's figure with the clock that it goes by, turned along the straight line.

Sources give one and the same line by three clocks: 12 % by day 18 of 21 is 14 % by the hatch. At a steady deficit an egg loses the
same each day, so the line is straight from 0 at the set time, and a figure by one clock is one by any other. Nothing else in the
program turns one into another. Per cent are of the mass at set, days of incubation.
"""

from __future__ import annotations

from monitor.domain.fixed import fixed
from monitor.domain.needs.profile import HATCH, INTERNAL_PIP, SIGNS, Profile

# Internal pip as a share of the term, where it was not seen: hens day 19.5 of 21, 0.93 (Poultry World); other birds 1 to 2
# days after draw-down, which comes at 0.85 (Hand-Rearing Birds; Wissman): 0.89 to 0.92 of 28 days.
PIP_SHARE = 0.9

Window = tuple[float, float]  # a loss, low and high, %


@fixed
class Target:
    """A target loss. given_pct: as its source gives it, by `to`: a day, or one of LOSS_TO. pip_day, hatch_day: of internal pip and of the hatch, as expected."""

    given_pct: Window
    to: float | str
    pip_day: float
    hatch_day: float

    @property
    def to_day(self) -> float:
        """The day that the source means."""
        if isinstance(self.to, str):
            return {INTERNAL_PIP: self.pip_day, HATCH: self.hatch_day}[self.to]
        return self.to

    def by(self, day: float) -> Window:
        """The window of loss on a day; 0 before the set time."""
        share = max(0.0, day) / self.to_day
        return self.given_pct[0] * share, self.given_pct[1] * share

    @property
    def by_pip_pct(self) -> Window:
        """The window at internal pip, by which every egg is judged: until then its shell is whole."""
        return self.by(self.pip_day)

    @property
    def by_hatch_pct(self) -> Window:
        """The window at the hatch, as if the shell stayed whole."""
        return self.by(self.hatch_day)


def target_of(profile: Profile) -> Target | None:
    """The target loss of a species; None where no source gives one."""
    if profile.target_loss_pct is None:
        return None
    return Target(profile.target_loss_pct, profile.target_loss_to, pip_day(profile), profile.days)


def pip_day(profile: Profile) -> float:
    """The day of internal pip: PIP_SHARE of the term, or the profile's lockdown where that is later."""
    return max(PIP_SHARE * profile.days, profile.lockdown_day)


def lockdown_day(profile: Profile) -> float:
    """The day on which lockdown is expected: the profile's; of birds that go by the egg from a pip on, that of internal pip."""
    return pip_day(profile) if profile.lockdown_sign in SIGNS[1:] else profile.lockdown_day
