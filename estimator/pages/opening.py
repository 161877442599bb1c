"""Ways to a car: a new one, an example, a saved file, one kept from before; and its earlier versions."""

from __future__ import annotations

import datetime
from pathlib import Path

import streamlit as st

from estimator.case import case_from_data, dump_case
from estimator.catalogue.load import data_folder
from estimator.files import MAX_BYTES, InputError, Problem, decode_text, read_bytes
from estimator.pages import menu, session
from estimator.pages.fields import read_day
from estimator.views import words
from estimator.views.field_words import spoken

VERSIONS_SHOWN, KEPT_SHOWN = 20, 8


def show() -> None:
    """The first page while no car is open."""
    st.title("What will this car need?")
    st.markdown(
        "Describe an old car as you find it, and see what it is likely to cost in its first year: what has been "
        "found, and what nobody can see yet."
    )
    _undo()
    ways = st.columns(2, gap="large")
    with ways[0]:
        _new()
    with ways[1]:
        _kept()
        _deleted()
        _example()
        _file()


def _complain(key: str) -> None:
    problem = session.note(key)
    if problem:
        st.error(f"{words.plain(problem)}\n\nWhat you entered stays here.")


def _new() -> None:
    st.subheader("A new car")
    with st.container(key="new_car"):
        st.text_input("What you call it", key=session.start("new_name", ""), placeholder="e.g. blue saloon")
        st.text_input(
            "First registered or built",
            key=session.start("new_built", ""),
            placeholder="e.g. 1971 or 1971-05-01",
        )
        shown, unit = st.columns([2, 1], vertical_alignment="bottom", wrap=False)
        shown.number_input("Odometer shows", value=None, step=100.0, format="%.0f", key="new_odometer")
        unit.selectbox("Unit", ["miles", "km"], key="new_unit")
        currencies = list(session.catalogue().settings.prices.currency)
        st.selectbox("Currency", currencies, key="new_currency")
        st.button("Start", type="primary", key="new_start", on_click=_start, width="stretch")
        _complain("new_problem")


def _start() -> None:
    built, shown = read_day(session.value("new_built")), session.value("new_odometer")
    data = {
        "format": 1,
        "car": {
            "name": session.value("new_name") or "",
            "viewed": session.today(),
            "built": built,
            "odometer": shown,
            "odometer_digits": None if shown is None or shown < 100_000 else min(len(f"{shown:.0f}"), 7),
            "unit": session.value("new_unit"),
        },
        "money": {"currency": session.value("new_currency")},
    }
    data["car"] = {k: v for k, v in data["car"].items() if v is not None}  # type: ignore[attr-defined]
    try:
        made = case_from_data(data, "the new car", session.catalogue())
    except InputError as error:
        session.remember("new_problem", spoken(error))
        return
    session.remember("new_problem", None)
    session.open_text(dump_case(made), made.name, kind="saved")
    session.forget("new_")


def _example() -> None:
    st.subheader("An example")
    st.caption("Invented cars, to see how it works. Change them as you like.")
    for name, path in _examples().items():
        st.button(
            words.sentence(name), key=f"example_{path.stem}", on_click=_open_example, args=(str(path),),
            width="stretch",
        )  # fmt: skip
    _complain("example_problem")


def _examples() -> dict[str, Path]:
    return {path.stem.replace("-", " "): path for path in sorted((data_folder() / "examples").glob("*.toml"))}


def _open_example(path: str) -> None:
    error = open_file(path)
    session.remember("example_problem", str(error) if error else None)


def open_file(path: str) -> InputError | None:
    """Open an example that came with the program."""
    try:
        body = decode_text(read_bytes(path), Path(path).name)
    except InputError as error:
        return error
    return session.open_text(body, Path(path).name)


def open_upload(raw: bytes, name: str) -> InputError | None:
    """Open an uploaded file; the same checks and messages as everywhere."""
    if len(raw) > MAX_BYTES:
        size = (
            f"the file is too large: found {len(raw) / 1e6:.1f} MB; allowed at most {MAX_BYTES / 1e6:.1f} MB"
        )
        return InputError(Problem(name, None, "", size))
    try:
        body = decode_text(raw, name)
    except InputError as error:
        return error
    return session.open_text(body, name)


def _file() -> None:
    st.subheader("A saved file")
    show_upload()


def show_upload() -> None:
    """Open a saved file; one with faults changes nothing and says all that is wrong with it."""
    uploaded = st.file_uploader(
        "A case file (.toml)", type=["toml"], key=f"upload_{session.serial()}", max_upload_size=5
    )
    if uploaded is None:
        return
    if session.note("upload_seen") != uploaded.file_id:
        session.remember("upload_seen", uploaded.file_id)
        error = open_upload(uploaded.getvalue(), uploaded.name)
        session.remember("upload_problem", str(error) if error else None)
        if error is None:
            st.rerun()
    problem = session.note("upload_problem")
    if problem:
        st.error(f"The file was not opened, and nothing here has changed.\n\n{_lines(problem)}")


def _lines(message: str) -> str:
    return "\n\n".join(words.plain(line) for line in message.splitlines())


def _undo() -> None:
    """After a car was deleted: its way back, at once."""
    gone = {entry.case_id: entry for entry in session.kept_cars(deleted=True)}
    entry = gone.get(session.note("deleted"))
    if entry is None:
        return
    with st.container(horizontal=True, vertical_alignment="center", key="undo_delete"):
        st.markdown(f"{words.plain(entry.name)} was deleted.", width="content")
        st.button("Undo", key="undo", icon=":material/undo:", on_click=_bring_back, args=(entry.case_id,))


def _bring_back(case_id: str) -> None:
    error = session.bring_back(case_id)
    session.remember("kept_problem", str(error) if error else None)


def _deleted() -> None:
    gone = session.kept_cars(deleted=True)
    if not gone:
        return
    with st.expander(f"Deleted ({len(gone)})", key="deleted_cars"):
        st.caption("Each comes back with every earlier version.")
        for entry in gone:
            st.button(
                f"Bring back {words.plain(entry.name)} · {_when(entry.saved)}",
                key=f"deleted_{entry.case_id}",
                on_click=_bring_back,
                args=(entry.case_id,),
                width="stretch",
            )


def _kept() -> None:
    cars = session.kept_cars()
    if not cars:
        return
    st.subheader("Kept from before")
    every = session.note("all_kept", False)
    for entry in cars if every else cars[:KEPT_SHOWN]:
        st.button(
            f"{words.plain(entry.name)} · {_when(entry.saved)}",
            key=f"kept_{entry.case_id}",
            on_click=_open_kept,
            args=(entry.case_id,),
            width="stretch",
        )
    if len(cars) > KEPT_SHOWN and not every:
        st.button(f"Show all {len(cars)}", key="all_kept", on_click=session.remember, args=("all_kept", True))
    _complain("kept_problem")


def _open_kept(case_id: str, number: int | None = None) -> None:
    error = session.open_kept(case_id, number)
    session.remember("kept_problem", str(error) if error else None)


def _when(moment: datetime.datetime) -> str:
    local = moment.astimezone()
    return f"{words.day(local.date())}, {local:%H:%M}"


def show_versions() -> None:
    """Earlier versions of the open car, each to be gone back to; going back is a version too."""
    kept = session.versions()
    if len(kept) < 2:
        return
    case_id = session.case_id()
    with st.expander(f"Earlier versions ({len(kept) - 1})", key=f"versions_{session.serial()}"):
        st.caption("Nothing is lost by going back: the present one stays in this list.")
        for version in kept[1 : VERSIONS_SHOWN + 1]:
            st.button(
                f"Go back to {version.number}: {_when(version.saved)}",
                key=f"version_{version.number}",
                on_click=_open_kept,
                args=(case_id, version.number),
            )
        _complain("kept_problem")


def show_way_back(title: str) -> None:
    """What other pages show while no car is open."""
    st.title(title)
    st.info("Start a car, or open one, on the first page.", icon=":material/directions_car:")
    st.page_link(menu.page("the_car.py"), label="The car", icon=":material/arrow_back:")
