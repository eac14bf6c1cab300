"""`eggroom completion`: what bash needs to complete commands, batches, machines and species. The words that do not change stand in the script
itself, so that a key costs no start of the program; only names are asked for."""

from __future__ import annotations

from monitor.cli.frame import DONE, Asked, Parsers, Wrong, command, show
from monitor.cli.record import house_of, opened
from monitor.domain.fixed import fixed

KINDS = ("batches", "machines", "species")
SCRIPT = """\
# eggroom for bash: eval "$(eggroom completion)"
_eggroom_names() {{ eggroom completion --names "$1" 2>/dev/null; }}
_eggroom() {{
    local word="${{COMP_WORDS[COMP_CWORD]}}" before="${{COMP_WORDS[COMP_CWORD-1]}}" known=""
    case "$before" in
        --species|--profile) known="$(_eggroom_names species)" ;;
        --machine|--to) known="$(_eggroom_names machines)" ;;
        *) case "$COMP_CWORD:${{COMP_WORDS[1]}}" in
            1:*) known="{commands}" ;;
            2:batch) known="{batch}" ;;
            2:egg) known="{egg}" ;;
            2:contact) known="{contact}" ;;
            2:history|2:review|2:archive|3:batch|3:egg) known="$(_eggroom_names batches)" ;;
            2:rules|2:handling|2:out-of-service|2:replace) known="$(_eggroom_names machines)" ;;
            2:cooling) known="$(_eggroom_names batches) $(_eggroom_names machines)" ;;
            2:profiles|2:draft) known="$(_eggroom_names species)" ;;
            4:batch) [ "${{COMP_WORDS[2]}}" = move ] && known="$(_eggroom_names machines)" ;;
        esac ;;
    esac
    COMPREPLY=($(compgen -W "$known" -- "$word"))
}}
complete -o default -F _eggroom eggroom
"""
COMMANDS = (
    "ack air alarms archive backup batch calibrate check completion contact cooling demo draft egg events handling health history now out-of-service outcomes "
    "profiles refused replace replay review room rules run shelve unshelve"
)
BATCH = "add close list move not-yet remove reopen show split stage"
EGG = "air-cell candle chick correct event file finding identity laid look-again note outcome save sheet show size turned undo weigh withdraw"
CONTACT = "list test"


@fixed(kw_only=True)
class Completion(Asked):
    """completion"""

    names: str | None


def add(parsers: Parsers) -> None:
    """Say what `completion` takes."""
    completion = command(parsers["completion"], _completion, Completion)
    completion.add_argument(
        "--names", choices=KINDS, default=None, help="those that there are, as the script asks for them"
    )


def _completion(options: Completion) -> int:
    if options.names is None:
        if options.json:
            raise Wrong("completion: --json, expected it with --names: without, it is a script")
        print(SCRIPT.format(commands=COMMANDS, batch=BATCH, egg=EGG, contact=CONTACT), end="")
        return DONE
    house = house_of(options.config)
    if options.names == "batches":
        with opened(house) as history:
            names = [batch.id for batch in history.batches()]
    else:
        names = list(house.site.machines if options.names == "machines" else house.site.profiles)
    return show(options.json, names, "\n".join(names))
