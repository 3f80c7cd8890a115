"""Changes of gear in a season, and a coach's students."""

import numpy as np
import pandas as pd

from groupscan.decisions.gear_changes import gear_changes
from groupscan.decisions.roster import main_shots, roster_of, standing_of


def shots(days, *, rig="Heron", build="light", setup_id=None, sigma=10.0, shooter="Ada"):
    """Twelve shots a session, one session a day."""
    rng = np.random.default_rng(3)
    session = np.repeat(np.arange(len(days)), 12)
    table = pd.DataFrame(
        {
            "right_mm": sigma * rng.standard_normal(session.size),
            "high_mm": sigma * rng.standard_normal(session.size),
            "session": session.astype(str),
            "day": pd.to_datetime(days)[session],
            "rig": rig, "shooter": shooter, "head": "x", "distance_m": 18.0,
            "build": np.broadcast_to(np.array(build, object), len(days))[session],
        }
    )  # fmt: skip
    if setup_id is not None:
        table["setup_id"] = setup_id
    return table


def setups(*rows):
    table = pd.DataFrame(rows, columns=["id", "rig_id", "rig", "since", "changed", "notes"])
    table["since"] = pd.to_datetime(table["since"])
    return table


DAYS = ["2026-05-01", "2026-05-08", "2026-05-15"]


def test_only_setups_within_the_season_are_changes():
    told = gear_changes(
        shots(DAYS),
        setups(
            (1, 1, "Heron", "2026-05-01", "first", ""),
            (2, 1, "Heron", "2026-05-10", "rest", "by hand"),
            (3, 1, "Heron", "2026-06-01", "later", ""),
            (4, 2, "Slate", "2026-05-10", "other rig", ""),
        ),
    )
    assert told[["what", "notes"]].to_numpy().tolist() == [["rest", "by hand"]]


def test_a_rig_of_the_same_name_is_told_apart_by_its_sessions():
    told = gear_changes(
        shots(DAYS, setup_id=1),
        setups(
            (1, 1, "Heron", "2026-01-01", "mine", ""),
            (2, 1, "Heron", "2026-05-10", "mine too", ""),
            (3, 9, "Heron", "2026-05-10", "somebody else's", ""),
        ),
    )
    assert told["what"].tolist() == ["mine too"]


def test_other_arrows_are_a_change_of_gear():
    told = gear_changes(shots(DAYS, build=["light", "heavy", "heavy"]))
    assert told["what"].tolist() == ["arrows: heavy, after light"]
    assert str(told["day"].iloc[0].date()) == "2026-05-08"


def test_no_change_is_an_empty_table_with_its_columns():
    told = gear_changes(shots(DAYS))
    assert told.empty
    assert list(told.columns) == ["day", "what", "notes"]


def test_the_order_of_the_shots_does_not_matter():
    table = shots(DAYS, build=["light", "heavy", "light"])
    mixed = table.sample(frac=1, random_state=1)
    pd.testing.assert_frame_equal(gear_changes(table), gear_changes(mixed))


def test_a_season_is_of_the_rig_and_head_shot_most():
    both = pd.concat([shots(DAYS), shots(["2026-05-20"], rig="Slate")], ignore_index=True)
    kept, notes = main_shots(both)
    assert set(kept["rig"]) == {"Heron"}
    assert notes == ("12 shots of other rigs than Heron are left out.",)


def test_shots_without_a_distance_are_left_out_where_others_have_one():
    table = shots(DAYS)
    table.loc[table["session"] == "2", "distance_m"] = np.nan
    kept, notes = main_shots(table)
    assert len(kept) == 24
    assert notes == ("12 shots without a distance are left out.",)
    table["distance_m"] = np.nan
    assert len(main_shots(table)[0]) == 36


def test_a_student_without_shots_has_too_few():
    (one,) = roster_of(None, ["Ada"])
    assert (one.word, one.sessions, one.last) == ("too few arrows", None, None)
    assert standing_of("Ada", shots(DAYS)[:0]).word == "too few arrows"


def test_what_cannot_be_measured_says_why():
    table = shots(DAYS)
    table.loc[0, "right_mm"] = np.nan
    one = standing_of("Ada", table)
    assert one.word == "too few arrows"
    assert one.notes


def test_the_roster_keeps_the_order_of_the_names_and_the_last_day():
    both = pd.concat([shots(DAYS), shots(DAYS[:2], shooter="Bo")], ignore_index=True)
    ada, bo, nobody = roster_of(both, ["Ada", "Bo", "Cy"])
    assert [one.name for one in (ada, bo, nobody)] == ["Ada", "Bo", "Cy"]
    assert (str(ada.last.date()), str(bo.last.date())) == (DAYS[2], DAYS[1])
    assert (ada.shots, bo.shots, nobody.shots) == (36, 24, 0)
