"""A notice to a contact's address, through the notification library Apprise: one attempt, one answer, never an exception.

The library is heavy (some 400 ms and 45 MB once its plug-ins are in), so it is imported at the first send or check, never before.

What is done here that the library does not do by itself:
- One Apprise object per send: a plug-in sleeps 5.5 s between two sends of one object, and ten alarms must not take a minute.
- A limit on the whole attempt. The library's own limit leaves its hung calls in a small pool shared by all contacts, where one
  dead service would in the end hold up every other, and which the process waits for at its end. So each attempt has a
  daemon thread of its own, left behind when it is late; at most MAX_HANGING of them per contact.
- An answer that is not the service's own is a failure. Plug-ins call `requests`; for the length of an attempt, and in its thread
  only, each answer is looked at on its way back. A page of HTML with status 200 (the login page of a guest network) makes the
  attempt fail, and so does a redirect, which is not followed unless the address says `redirect=yes`. Not seen: a captive
  portal that answers 200 with something other than a page, a service that does not speak HTTP, and plug-ins that hold a
  connection of their own open (nostr, sogs). Over https a portal cannot answer at all.
- The service's own priority, where it has one: each attempt asks for it in the address, unless that names one itself. So a phone's own
  settings (sound, breaking through silence) follow ours.
- Secrets. The library logs whole addresses at debug level, and urllib3 the paths of requests; both are kept quiet. Of an address
  only the scheme is ever shown: host, path and query may each be the secret, depending on the service.

A late success after the limit is a duplicate on the phone; the alarm's number in the text tells that it is the same one.
"""

from __future__ import annotations

import logging
import re
import threading
from collections.abc import Sequence
from contextvars import ContextVar
from types import ModuleType
from typing import TYPE_CHECKING, Any

from monitor.domain.alarms.notice import Notice
from monitor.domain.needs.rules import LOW
from monitor.domain.refusal import Refusal
from monitor.service.ports import Contact, Delivered, GiveUp, Outcome, TryLater

if TYPE_CHECKING:
    from apprise import NotifyBase

TIMEOUT_S = 20.0  # the whole attempt: name look-up, connection, encryption and answer over a poor mobile link
READ_TIMEOUT_S = 10.0  # one wait for the service to speak; the library's 4 s turn slow answers into duplicates
# title and body, characters: 4,000 bytes at worst, under the 4,096 at which ntfy makes an attachment of it
MAX_MESSAGE = 1000
MAX_ANSWER = 1 << 20  # bytes of an answer that are read; a wrong address may lead to a stream without an end
MAX_HANGING = 3  # late attempts left behind per contact; a service that holds on to more gets no further one meanwhile

# What services call a priority, the first of ours that one knows: for what is low, one that makes no sound. From the library's own tables
# of 2.3: "moderate" is of the services that count low, moderate, normal, high, emergency, where low is not shown at all.
_CALLED = {
    "critical": ("emergency", "max", "critical", "urgent", "high"),
    "high": ("high", "urgent", "critical"),
    "medium": ("normal", "default", "medium", "warning"),
    "low": ("moderate", "low", "silent", "info"),
}
_IMPORTANCE = {"critical": "high", "high": "high", "low": "low"}  # of a mail: RFC 4021, 2.1.33
_MAIL = ("mailto", "mailtos")
_TYPES = {"low": "info", "medium": "warning", "high": "failure", "critical": "failure"}
_PAGE = re.compile(rb"<(!doctype\s+html|html|script|meta\s+http-equiv)\b", re.IGNORECASE)
_SCHEME = re.compile(r"\s*([a-z][a-z0-9+.-]{0,19}):/", re.IGNORECASE)

_loading = threading.Lock()
_answers: ContextVar[list[str] | None] = ContextVar("answers of this attempt", default=None)
_PAGE_ANSWER = "a web page, not the service's own answer"
_LONG_ANSWER = "an answer too long to be the service's own"


class AddressError(Refusal):
    """An address that cannot be used; of it only the scheme is shown."""


class AppriseDelivery:
    """The Delivery port over Apprise 2.3. Any thread may call it; attempts to one contact should come one at a time."""

    def __init__(self, *, timeout_s: float = TIMEOUT_S) -> None:
        self._timeout_s = timeout_s
        self._hanging: dict[str, list[threading.Thread]] = {}

    def send(self, notice: Notice, contact: Contact) -> Outcome:
        """One attempt, over within timeout_s."""
        hanging = [t for t in self._hanging.get(contact.id, ()) if t.is_alive()]
        self._hanging[contact.id] = hanging
        if len(hanging) >= MAX_HANGING:
            return TryLater(f"{len(hanging)} earlier attempts still hang in the service")
        outcomes: list[Outcome] = []
        thread = threading.Thread(
            target=_attempt, args=(notice, contact.url_for(notice), outcomes), name=f"send-{contact.id}", daemon=True
        )
        thread.start()
        thread.join(self._timeout_s)
        if outcomes:
            return outcomes[0]
        hanging.append(thread)
        return TryLater(f"no answer within {self._timeout_s:g} s")

    def problem(self, url: str) -> AddressError | None:
        """Why this address cannot be used at all; None when the library knows it."""
        return None if _service(url) is not None else _why_not(url)


def masked(url: str) -> str:
    """The scheme and nothing else: `ntfys://***`."""
    found = _SCHEME.match(url)
    return f"{found.group(1).lower()}://***" if found else "***"


def fit(notice: Notice, title_max: int, body_max: int) -> tuple[str, str]:
    """(title, body), together at most body_max characters and MAX_MESSAGE, the title at most title_max (0: the service has none).

    What does not fit goes: the link first, then the end of the text, but not the number to answer with.
    """
    limit = min(body_max, MAX_MESSAGE)
    title = notice.title[: min(title_max or limit, limit // 2)]
    room = limit - len(title) - 2  # 2: a service without titles gets it as a line of the body
    body = f"{notice.text}\n{notice.link}" if notice.link else notice.text
    if len(body) <= room:
        return title, body
    if len(notice.text) <= room:
        return title, notice.text
    end = f"... No. {notice.alarm_number}" if notice.alarm_number else "..."
    return title, notice.text[: room - len(end)] + end


def _attempt(notice: Notice, url: str, outcomes: list[Outcome]) -> None:
    """The attempt's own thread."""
    answers: list[str] = []
    _answers.set(answers)
    try:
        outcomes.append(_send(notice, url, answers))
    except Exception as error:  # noqa: BLE001 - the thread's outermost place
        # The type alone: a library's exception text may hold the address.
        outcomes.append(TryLater(type(error).__name__))


def _send(notice: Notice, url: str, answers: Sequence[str]) -> Outcome:
    apprise = _library()
    service = _service(with_priority(url, LOW if notice.closing else notice.priority))
    if service is None:
        return GiveUp(str(_why_not(url)))
    if service.socket_read_timeout == apprise.URLBase.socket_read_timeout:
        service.socket_read_timeout = READ_TIMEOUT_S  # unless the address says otherwise (rto=)
    service.optional = False  # with optional=yes in the address the library calls every failure a success
    sender = apprise.Apprise(asset=service.asset)
    sender.add(service)
    title, body = fit(notice, service.title_maxlen, service.body_maxlen)
    result = sender.notify(
        title=title,
        body=body,
        notify_type="success" if notice.closing else _TYPES[notice.priority],
        body_format="text",  # so that a service that shows HTML gets < and & as characters
    )
    return _outcome(result.status.name, answers, url)


def with_priority(url: str, priority: str) -> str:
    """The address that asks its service for this priority; as it is where the service has none, or the address names its own."""
    known_services, found = _library().NotificationManager(), _SCHEME.match(url)
    scheme = "" if found is None else found.group(1).lower()
    if scheme not in known_services:
        return url
    asked: dict[str, str | None] = {"+Importance": _IMPORTANCE.get(priority)} if scheme in _MAIL else {}
    known = known_services[scheme].template_args
    values = known.get("priority", {}).get("values", ())
    names = set(values.values() if isinstance(values, dict) else values)
    asked["priority"] = next((called for called in _CALLED[priority] if called in names), None)
    asked["silent"] = "yes" if priority == LOW and "silent" in known else None
    for name, value in asked.items():
        if value is not None and f"{name}=".lower() not in url.lower().partition("?")[2]:
            url += f"{'&' if '?' in url else '?'}{name}={value}"
    return url


def _outcome(status: str, answers: Sequence[str], url: str) -> Outcome:
    last = answers[-1] if answers else "no word from the service"
    if status == "NOMATCH":
        return GiveUp(str(_why_not(url)))
    if status != "SUCCESS":
        return TryLater(f"{status.lower()}: {last}")
    if last in (_PAGE_ANSWER, _LONG_ANSWER):
        return TryLater(last)
    return Delivered(last if answers else "accepted")


def _service(url: str) -> NotifyBase | None:
    """The plug-in for this address; None when the library cannot use it."""
    apprise = _library()
    asset = apprise.AppriseAsset(
        app_id="eggroom",
        app_desc="eggroom",
        image_url_mask=False,  # no picture fetched from elsewhere
        http_redirects=False,
        service_timeout=0,  # no limit of the library's own: it would use its shared pool (see the module)
    )
    service: NotifyBase | None = apprise.Apprise.instantiate(url, asset=asset)
    return service


def _why_not(url: str) -> AddressError:
    known = _library().NotificationManager()
    found = _SCHEME.match(url)
    scheme = found.group(1).lower() if found else ""
    where = f"address {masked(url)}"
    if not scheme:
        return AddressError(where, "no scheme", "an address such as ntfys://, mailtos:// or json://")
    if scheme not in known:
        return AddressError(where, "not a service the notification library knows", "one of its schemes")
    plugin = known[scheme]
    if not plugin.enabled:
        return AddressError(where, f"{plugin.service_name} needs a Python package that is not installed")
    return AddressError(where, f"not complete for {plugin.service_name}", f"such as {plugin.templates[0]}")


def _library() -> ModuleType:
    """Apprise, with its loggers quiet and the look at HTTP answers in place; the first call takes a while."""
    with _loading:
        import apprise
        import requests

        session: Any = requests.Session
        if session.send is not _looked_at:
            _quiet()
            session.eggroom_send = session.send
            session.send = _looked_at
        return apprise


def _quiet() -> None:
    for name, level in (
        ("apprise", logging.CRITICAL),
        ("urllib3", logging.ERROR),
        ("requests_oauthlib", logging.ERROR),
    ):
        logging.getLogger(name).setLevel(level)


def _looked_at(session: Any, request: Any, **kwargs: Any) -> Any:  # noqa: ANN401 - it stands in for a method of a library without types
    """In place of requests.Session.send: outside an attempt of ours nothing changes."""
    answers = _answers.get()
    if answers is None or kwargs.get("stream"):
        return session.eggroom_send(request, **kwargs)
    try:
        response = session.eggroom_send(request, **{**kwargs, "stream": True})
        body = b""
        for piece in response.iter_content(8192):
            body += piece
            if len(body) > MAX_ANSWER:
                break
    except Exception as error:
        answers.append(type(error).__name__)
        raise
    # What a plug-in then asks for is this.
    response._content, response._content_consumed = body, True  # noqa: SLF001 - no public way puts back what was read
    response.close()
    answers.append(_named(response.status_code, body))
    return response


def _named(status: int, body: bytes) -> str:
    if len(body) > MAX_ANSWER:
        return _LONG_ANSWER
    return _PAGE_ANSWER if status < 400 and is_page(body) else f"HTTP {status}"


def is_page(body: bytes) -> bool:
    """Whether an answer is a page for people. By its first bytes, not its declared type: many a home-made receiver calls its plain "OK"
    text/html.
    """
    start = body[:2048].lstrip(b"\xef\xbb\xbf \t\r\n")
    return start.startswith(b"<") and _PAGE.search(start) is not None
