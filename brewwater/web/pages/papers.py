"""Papers for a client or an inspector: the pack and the quote, each with one press."""

from __future__ import annotations

import datetime as dt
import io
import zipfile
from collections.abc import Callable, Mapping

import streamlit as st

from brewwater.errors import InputError
from brewwater.escape import for_markdown
from brewwater.output.owner import NAME_LETTERS, owner_of
from brewwater.output.pack.files import pack_files
from brewwater.output.quote.files import quote_files
from brewwater.output.quote.quote import CLIENT_LETTERS, MOST_VALID_DAYS, VALID_DAYS, QuoteTerms, make_quote
from brewwater.plan import Plan
from brewwater.web import planning
from brewwater.web.state import desk


def papers(plan: Plan) -> None:
    """Who gives them out and for whom, then the two presses."""
    on = desk()
    st.subheader("For a client or an inspector", anchor=False)
    name, client = st.columns(2)
    by = name.text_input("Your name or firm", max_chars=NAME_LETTERS, key="paper_owner")
    whom = client.text_input("For whom", max_chars=CLIENT_LETTERS, key="paper_client")
    logo = st.file_uploader("Your logo (PNG or JPEG)", type=["png", "jpg", "jpeg"], key="paper_logo")
    with st.container(horizontal=True):
        currency = plan.document.money.currency
        labour = st.number_input(f"Fitting, {currency}", 0.0, 1e7, None, step=50.0, key="quote_labour")
        tax = st.number_input("Tax, %", 0.0, 100.0, None, step=0.25, key="quote_tax")
        days = st.number_input("Valid, days", 1, MOST_VALID_DAYS, VALID_DAYS, key="quote_days")
    try:
        owner = owner_of(by or "", logo.getvalue() if logo else None, fields=("Your name or firm", "Your logo"))
    except InputError as error:
        st.error(for_markdown(error), icon=":material/edit_off:")
        return
    today = dt.date.today()
    terms = QuoteTerms(today, whom or "", valid_days=int(days), tax_percent=tax, labour=labour, owner=owner)
    whole = planning.searched(plan)
    with st.container(horizontal=True, key="papers"):
        _press("pack", "The pack", lambda: pack_files(planning.in_full(plan), owner, today))
        _press("quote", "The quote", lambda: quote_files(make_quote(planning.in_full(plan), terms)), ready=whole)
    said = "The pack: up to eight pages for the client, two for the inspector. The quote: what is paid once, the year, "
    st.caption(said + ("the other ways." if whole else "the other ways; it waits for the search to end."))
    if on.ref is None:
        st.caption("Save the plan as a truck first, and its log is in the pack.")


def _press(key: str, label: str, make: Callable[[], Mapping[str, bytes]], *, ready: bool = True) -> None:
    name = f"{desk().ref or 'brewwater'}-{key}.zip"
    st.download_button(
        f"{label} (PDF, HTML)",
        lambda: _zipped(make()),
        name,
        "application/zip",
        key=f"take_{key}",
        icon=":material/folder_zip:",
        on_click="ignore",
        disabled=not ready,
    )


def _zipped(found: Mapping[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as folder:
        for name, content in found.items():
            folder.writestr(name, content)
    return out.getvalue()
