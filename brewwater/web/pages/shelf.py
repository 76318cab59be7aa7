"""The shelf: the cartridges that can be bought, what each is on this water, and how many are in stock."""

from __future__ import annotations

import streamlit as st

from brewwater.cost import written
from brewwater.errors import BrewwaterError
from brewwater.escape import for_markdown
from brewwater.output.vocabulary import MEDIA
from brewwater.planning.shelf_rating import Rated
from brewwater.store import shelf_csv
from brewwater.treatment.shelf import Shelf
from brewwater.web import keeping, planning
from brewwater.web.state import desk
from brewwater.web.widgets import show

EXAMPLE = """\
name,medium,size,rated,reference_alkalinity,price,life,bypass_steps,in_stock
Example resin tall,weak_acid,large,1200 gal,10 gpg,145,12 months,0: 0; 1: 15; 2: 30,2
Example carbon,carbon,medium,1500 gal,,38,9 months,,4
"""


def page() -> None:
    """What is on the shelf, as it is on this water; then how a sheet gets there."""
    try:
        shelf = keeping.place().shelf()
    except BrewwaterError as error:
        st.error(for_markdown(error))
        return
    st.session_state[keeping.SHELF] = shelf.items
    if not shelf.items:
        st.info("Nothing is on the shelf yet. Enter the data sheets of the cartridges that you can buy.")
    else:
        _here()
        _stock(shelf)
    _add(shelf)


def _here() -> None:
    plan = planning.current()
    if plan is None or not plan.shelf:
        st.caption("No stage of this treatment takes a cartridge of the shelf.")
        return
    st.subheader("On this water", anchor=False)
    for place in dict.fromkeys(r.place for r in plan.shelf):
        mine = [r for r in plan.shelf if r.place == place]
        st.text(place)
        show.table(
            ["Cartridge", "On this water", "Per 1,000 gal", "Bypass", "Fits"], [_row(r) for r in mine], label=place
        )
    st.caption("Gallons are estimates: verify by test. The data sheet and its warranty override them.")


def _row(r: Rated) -> list[str]:
    how = {"single": "", "parallel": " (two in parallel)", "series": " (two in series)"}[r.arrangement]
    currency = desk().typed.money.currency
    price = "not known" if r.price_per_1000_gal is None else written(r.price_per_1000_gal, currency)
    dial = f"{r.stage.bypass_percent:g}%" if r.step is None else f"setting {r.step.setting}, {r.step.percent:g}%"
    return [r.item.name + how, r.line, price, dial, "yes" if r.fits else "no"]


def _stock(shelf: Shelf) -> None:
    with st.expander("In stock", icon=":material/inventory_2:", expanded=True):
        for item in shelf.items:
            st.number_input(
                f"{item.name} ({MEDIA[item.medium].inside})",
                0,
                100_000,
                item.in_stock,
                key=f"stock_{item.name}",
                on_change=_count,
                args=(item.name,),
            )


def _count(name: str) -> None:
    try:
        place = keeping.place()
        shelf = place.shelf()
        items = tuple(
            i.model_copy(update={"in_stock": int(st.session_state[f"stock_{name}"])}) if i.name == name else i
            for i in shelf.items
        )
        place.save_shelf(Shelf(items=items))
    except BrewwaterError as error:
        desk().extra["problem"] = str(error)


def _add(shelf: Shelf) -> None:
    with st.expander("Enter data sheets", icon=":material/add:", expanded=not shelf.items):
        st.caption(
            "One line a cartridge, figures in the sheet's own measure. A sheet that does not say at what water it was "
            "rated stays unknown. A line of the same name is replaced."
        )
        st.text_area("Lines", EXAMPLE, key="shelf_lines", height=160)
        st.file_uploader("Or a CSV file", type=["csv"], key="shelf_file")
        st.button("Put on the shelf", key="shelf_add", on_click=_put, icon=":material/add:")
        if shelf.items:
            st.download_button(
                "Save the shelf as a file", shelf_csv.write(shelf), "shelf.csv", "text/csv", key="shelf_save"
            )


def _put() -> None:
    file = st.session_state.get("shelf_file")
    try:
        new = shelf_csv.read(file.getvalue() if file is not None else st.session_state["shelf_lines"])
        keeping.place().add_to_shelf(new)
    except BrewwaterError as error:
        desk().extra["problem"] = str(error)
