"""The only place that touches session state: the frozen case that is the truth, its text, and what was typed
that cannot be used yet.

    case = session.case()                        # None until there is a car
    session.change({("money", "asking"): 7500})  # applied, checked and kept at once; or kept as typed, with why not

Every accepted change is a new version in the user's store. What is refused stays on the screen with the message
and is tried again together with the next change.
"""

from __future__ import annotations

import copy
import datetime
from collections.abc import Callable, Collection, Mapping, Sequence
from typing import Any

import streamlit as st

from estimator import clock
from estimator.case import Case, case_data, dump_case, edit_case_text, parse_case
from estimator.catalogue.load import Catalogue, load_catalogue
from estimator.files import InputError, KeyPath, Problem, key_text
from estimator.pages.edits import with_edits
from estimator.record import Entry as Happened
from estimator.record import Recorded, moved_on, record
from estimator.store import Entry, Store, Version
from estimator.store import data_folder as store_folder
from estimator.views.field_words import spoken

_MISSING = object()
_CAR = "car"  # query parameter with the id of the open car, so that a reload opens it again


def _state(name: str, default: Any) -> Any:
    key = f"own_{name}"
    if key not in st.session_state:
        st.session_state[key] = default
    return st.session_state[key]


def _set(name: str, value: Any) -> None:
    st.session_state[f"own_{name}"] = value


# --- the catalogue and the store -------------------------------------------------------------------


def catalogue() -> Catalogue:
    """The trade's knowledge; a fault in its files is shown and stops the page."""
    try:
        return load_catalogue()
    except InputError as error:
        st.error(f"The catalogue cannot be read.\n\n{error}")
        st.stop()


@st.cache_resource(max_entries=4, show_spinner=False)
def _store(folder: str) -> Store:
    return Store(folder)


def store() -> Store | None:
    """Where every version is kept; None when the folder cannot be written (and the reason is kept)."""
    try:
        kept = _store(str(store_folder()))
    except InputError as error:
        _set("store_trouble", str(error))
        return None
    return kept


def troubles() -> list[str]:
    """What went wrong with keeping things, for people to read; what they said they have read is left out."""
    kept = store()
    found = list(kept.messages) if kept is not None else []
    trouble = _state("store_trouble", "")
    return [one for one in (*found, trouble) if one and one not in note("troubles_read", ())]


def troubles_read() -> None:
    """They are not shown again, unless something new goes wrong."""
    remember("troubles_read", (*note("troubles_read", ()), *troubles()))


# --- the case --------------------------------------------------------------------------------------


def case() -> Case | None:
    """The car under consideration, or None. After a reload of the page the car last open is opened again."""
    current: Case | None = _state("case", None)
    if current is None and not _state("asked_address", False):
        _set("asked_address", True)
        wanted = st.query_params.get(_CAR)
        if wanted:
            open_kept(wanted)
            current = _state("case", None)
    case_id = _state("case_id", None)
    if current is not None and case_id and st.query_params.get(_CAR) != case_id:
        st.query_params[_CAR] = case_id
    return current


def serial() -> int:
    """Counts the cars opened in this session: part of every widget key, so that a new car starts afresh."""
    return int(_state("serial", 0))


def text() -> str:
    """The case as its file, comments of the file it came from kept."""
    return str(_state("text", ""))


def case_id() -> str | None:
    """Id of the open car in the store."""
    found = _state("case_id", None)
    return None if found is None else str(found)


def _adopt(made: Case, body: str, *, case_id: str | None, number: int | None) -> None:
    _set("case", made)
    _set("text", body)
    _set("case_id", case_id)
    _set("version", number)
    _set("drafts", {})
    _set("refusals", {})
    _set("fields", {})
    _set("serial", serial() + 1)
    _set("last_look", None)
    _set("overtaken", None)
    remember("scroll_up", True)


def open_text(body: str, name: str, *, kind: str = "imported") -> InputError | None:
    """Open a case file's text as a new car. On a fault nothing changes and the error is returned."""
    try:
        made = parse_case(body, name, catalogue())
    except InputError as error:
        return error
    kept = store()
    saved: Version | None = None
    if kept is not None:
        try:
            saved = kept.save(body, name=made.name, kind=kind)  # type: ignore[arg-type]
        except InputError as error:
            _set("store_trouble", str(error))
    if saved is None:
        _adopt(made, body, case_id=None, number=None)
    else:
        _adopt(made, body, case_id=saved.case_id, number=saved.number)
    return None


def open_kept(wanted: str, number: int | None = None) -> InputError | None:
    """Open a car from the store, by default as it was last."""
    kept = store()
    if kept is None:
        return None
    try:
        if number is not None:
            kept.restore(wanted, number)
        newest = kept.versions(wanted)[0]
        body = kept.text(wanted)
        made = parse_case(body, newest.name, catalogue())
    except InputError as error:
        return error
    _adopt(made, body, case_id=wanted, number=newest.number)
    return None


def close() -> None:
    """Put the open car away (it stays in the store) to start or open another."""
    for name in ("case", "case_id", "version"):
        _set(name, None)
    _set("text", "")
    _set("drafts", {})
    _set("refusals", {})
    _set("fields", {})
    _set("overtaken", None)
    _set("serial", serial() + 1)
    if _CAR in st.query_params:
        del st.query_params[_CAR]


def kept_cars(*, deleted: bool = False) -> tuple[Entry, ...]:
    """Cars in the store, last changed first; or those that were deleted."""
    kept = store()
    try:
        every = kept.list(hidden=deleted) if kept is not None else ()
    except InputError as error:
        _set("store_trouble", str(error))
        return ()
    return tuple(entry for entry in every if entry.hidden == deleted)


def delete() -> None:
    """Take the open car out of the list and put it away; `bring_back` undoes it."""
    kept, wanted = store(), case_id()
    if kept is None or wanted is None:
        return
    try:
        kept.delete(wanted)
    except InputError as error:
        _set("store_trouble", str(error))
        return
    close()
    remember("deleted", wanted)


def bring_back(wanted: str) -> InputError | None:
    """Undo `delete`, and open the car."""
    kept = store()
    if kept is None:
        return None
    try:
        kept.bring_back(wanted)
    except InputError as error:
        return error
    remember("deleted", None)
    return open_kept(wanted)


def overtaken() -> tuple[Version, Case | None] | None:
    """The version another window saved before the last change made here, and its case if it can be read; None when
    there is none, or the choice has been made."""
    number, kept, wanted = _state("overtaken", None), store(), case_id()
    if number is None or kept is None or wanted is None:
        return None
    try:
        version = next(one for one in kept.versions(wanted) if one.number == number)
        return version, parse_case(kept.text(wanted, number), version.name)
    except InputError:
        return version, None


def keep_own() -> None:
    """Go on with what is here; the version of the other window stays among the earlier ones."""
    _set("overtaken", None)


def versions() -> tuple[Version, ...]:
    """Every version of the open car, newest first."""
    kept, wanted = store(), case_id()
    if kept is None or wanted is None:
        return ()
    try:
        return kept.versions(wanted)
    except InputError as error:
        _set("store_trouble", str(error))
        return ()


# --- changing it -----------------------------------------------------------------------------------


def change(edits: Mapping[KeyPath, Any], *, keep: bool = True) -> InputError | None:
    """Apply values by key path (None takes the key out), check everything, keep the result.

    keep : what is refused is remembered as typed and tried again with the next change; False for forms that
    remember themselves.
    """
    current = _state("case", None)
    if current is None:
        return None
    drafts: dict[KeyPath, Any] = _state("drafts", {})
    waiting = {path: value for path, value in drafts.items() if path not in edits and path[0] != "finding"}
    error: InputError | None = None
    for trial in ({**waiting, **edits}, dict(edits)):
        try:
            made = with_edits(current, trial, catalogue())
        except InputError as refused:
            error = refused
            continue
        for path in trial:
            drafts.pop(path, None)
            _state("refusals", {}).pop(path, None)
        _accept(made)
        return None
    if keep and error is not None:
        for path, value in edits.items():
            drafts[path] = value
            _state("refusals", {})[path] = spoken(error, current)
    return error


def draft(path: KeyPath, typed: Any, why: str) -> None:
    """Remember something half typed that cannot be tried yet, and what is still wanted."""
    _state("drafts", {})[path] = typed
    _state("refusals", {})[path] = why


def drafts_for(path: KeyPath, typed: list[Any]) -> None:
    """What stands in the several fields of one key until it can be used; empty: the fields show the case."""
    drafts = _state("fields", {})
    for place in range(3):
        drafts.pop((*path, place), None)
    for place, one in enumerate(typed):
        drafts[(*path, place)] = one


def add_record(entries: Sequence[Happened], **more: Any) -> Recorded | InputError:
    """Add what really happened by the rules of `estimator.record.record`; on a fault nothing changes."""
    current = _state("case", None)
    if current is None:
        return InputError(Problem("", None, "", "no car is open"))
    try:
        found = record(text(), entries, name=current.name, catalogue=catalogue(), **more)
    except InputError as error:
        return error
    _accept(found.case, found.text)
    return found


def _accept(made: Case, body: str | None = None) -> None:
    """Keep a case, with the text it is written as where that is known."""
    if body is None:
        try:
            body = edit_case_text(text(), made)
        except InputError:
            body = dump_case(made)  # nothing is lost but the comments
    _set("case", made)
    _set("text", body)
    kept, wanted = store(), case_id()
    if kept is None:
        return
    try:
        saved = kept.autosave(body, name=made.name, case_id=wanted, base=_state("version", None))
    except InputError as error:
        _set("store_trouble", str(error))
        return
    _set("store_trouble", "")
    _set("case_id", saved.case_id)
    _set("version", saved.number)
    if saved.overtook is not None:
        _set("overtaken", saved.overtook)


def entries(table: str) -> list[dict[str, Any]]:
    """The entries of a list of the case as plain data, to be changed and given back to `change`."""
    current = _state("case", None)
    return list(copy.deepcopy(case_data(current).get(table, []))) if current is not None else []


def put_entry(table: str, index: int | None, entry: dict[str, Any] | None) -> InputError | None:
    """Add an entry (index None), replace one, or take one out (entry None). Once the car is bought, the day everything
    is computed as of moves on with an entry added."""
    rows = entries(table)
    if entry is None:
        if index is not None:
            del rows[index]
    elif index is None:
        rows.append(entry)
    else:
        rows[index] = entry
    current = case()
    day = entry.get("date") if entry is not None and index is None else None
    moved = None
    if current is not None and isinstance(day, datetime.date):
        moved = moved_on(current, [day])[0].bought
    as_of: dict[KeyPath, Any] = (
        {} if moved is None or moved.as_of is None else {("bought", "as_of"): moved.as_of}
    )
    return change({(table,): rows or None, **as_of}, keep=False)


def put_finding(check: str, index: int | None, entry: dict[str, Any] | None) -> None:
    """`put_entry` for the entry of a check; what is refused stays beside the check with the message."""
    error = put_entry("finding", index, entry)
    path = ("finding", check)
    _state("drafts", {}).pop(path, None)
    _state("refusals", {}).pop(path, None)
    if error is not None:
        draft(path, entry, spoken(error, case()))


# --- widgets ---------------------------------------------------------------------------------------


def key_for(path: KeyPath) -> str:
    """Widget key of one key of the case."""
    return f"c{serial()}_{key_text(path)}"


def bind(path: KeyPath, shown: Any, *, to_screen: Callable[[Any], Any] | None = None) -> str:
    """The widget key of a key of the case, its state set to what the case says (or to what was typed and refused).

    State is assigned only where it differs, so that typing in another field is never overwritten.
    """
    drafts = {**_state("drafts", {}), **_state("fields", {})}
    if path in drafts:
        shown = to_screen(drafts[path]) if to_screen else drafts[path]
    return hold(key_for(path), shown)


def hold(key: str, shown: Any) -> str:
    """Make a widget show a value; returns the key."""
    if st.session_state.get(key, _MISSING) != shown:
        st.session_state[key] = shown
    return key


def start(key: str, first: Any) -> str:
    """Give a widget of no part of the case its first value; returns the key."""
    if key not in st.session_state:
        st.session_state[key] = first
    return key


def steady(name: str, first: Any, options: Collection[Any] | None = None) -> dict[str, Any]:
    """key, on_change and args of a widget that chooses what a page shows: it keeps its choice (while that is among
    the options) through changes of page. Labels of a selectbox must not change: Streamlit knows options by them."""
    chosen = note(name, first)
    key = hold(f"steady_{name}", chosen if options is None or chosen in options else first)
    return {"key": key, "on_change": _steady, "args": (name, key)}


def _steady(name: str, key: str) -> None:
    if st.session_state.get(key) is not None:
        remember(name, st.session_state[key])


def value(key: str, default: Any = None) -> Any:
    """What a widget shows now; for callbacks."""
    return st.session_state.get(key, default)


def held(prefix: str) -> dict[str, Any]:
    """What the widgets show whose keys begin like this."""
    return {str(key): shown for key, shown in st.session_state.items() if str(key).startswith(prefix)}


def forget(prefix: str) -> None:
    """Empty the widgets whose keys begin like this, before the next run draws them."""
    for key in [k for k in st.session_state if str(k).startswith(prefix)]:
        del st.session_state[key]


def typed(path: KeyPath, otherwise: Any) -> Any:
    """What was typed and refused for a key, else what the case says."""
    return _state("drafts", {}).get(path, otherwise) or ()


def refusal(path: KeyPath) -> str | None:
    """Why what was typed for this key cannot be used."""
    found = _state("refusals", {}).get(path)
    return None if found is None else str(found)


def refusals() -> list[str]:
    """All of them, each once."""
    return list(dict.fromkeys(_state("refusals", {}).values()))


def drop_drafts() -> None:
    """Give up what was typed and refused; the fields show the case again."""
    _set("drafts", {})
    _set("refusals", {})
    _set("fields", {})


def note(name: str, default: Any = None) -> Any:
    """Something a page remembers that is no part of the case (which entry is open, which station)."""
    return _state(f"note_{name}", default)


def remember(name: str, what: Any) -> None:
    """See `note`."""
    _set(f"note_{name}", what)


def looked(current: Case, sums: tuple[float, float]) -> tuple[float, float] | None:
    """Note the sums shown for a case; returns those of the case shown before it, if that was another one."""
    seen: tuple[Case, tuple[float, float], tuple[float, float] | None] | None = _state("last_look", None)
    if seen is None:
        _set("last_look", (current, sums, None))
        return None
    shown, then, before = seen
    if shown != current:
        _set("last_look", (current, sums, then))
        return then
    return before


def today() -> datetime.date:
    """The day on the clock."""
    return clock.today()
