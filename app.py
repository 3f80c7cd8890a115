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
_SCREENS = (
    (photo_desk, "Photo desk", "photo_camera"),
    (group_sheet, "Group sheet", "adjust"),
    (point_match, "Point match", "join_inner"),
    (quiver, "Quiver", "straighten"),
    (season, "Season", "timeline"),
    (reach, "Reach", "social_distance"),
    (roster, "Roster", "groups"),
    (rig_bench, "Rig bench", "architecture"),
    (data, "Data", "database"),
)
st.navigation(
    [
        st.Page(
            screen.draw,
            title=title,
            icon=f":material/{icon}:",
            url_path=title.lower().replace(" ", "-"),
            default=screen is photo_desk,
        )
        for screen, title, icon in _SCREENS
    ],
    position="top",
).run()
