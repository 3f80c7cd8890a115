"""The screens of groupscan, by name; ``groupscan app`` or ``streamlit run app.py`` starts them."""

import streamlit as st

from groupscan.screens import (
    data,
    group_sheet,
    photo_desk,
    point_match,
    quiver,
    reach,
    rig_bench,
    roster,
    season,
)

st.set_page_config(page_title="groupscan", page_icon="🎯", layout="wide")
st.navigation(
    [
        st.Page(
            photo_desk.draw,
            title="Photo desk",
            icon=":material/photo_camera:",
            url_path="photo-desk",
            default=True,
        ),
        st.Page(
            group_sheet.draw,
            title="Group sheet",
            icon=":material/adjust:",
            url_path="group-sheet",
        ),
        st.Page(
            point_match.draw,
            title="Point match",
            icon=":material/join_inner:",
            url_path="point-match",
        ),
        st.Page(
            quiver.draw,
            title="Quiver",
            icon=":material/straighten:",
            url_path="quiver",
        ),
        st.Page(
            season.draw,
            title="Season",
            icon=":material/timeline:",
            url_path="season",
        ),
        st.Page(
            reach.draw,
            title="Reach",
            icon=":material/social_distance:",
            url_path="reach",
        ),
        st.Page(
            roster.draw,
            title="Roster",
            icon=":material/groups:",
            url_path="roster",
        ),
        st.Page(
            rig_bench.draw,
            title="Rig bench",
            icon=":material/architecture:",
            url_path="rig-bench",
        ),
        st.Page(
            data.draw,
            title="Data",
            icon=":material/database:",
            url_path="data",
        ),
    ],
    position="top",
).run()
