"""The printed shooting plan, read back from the PDF."""

from datetime import date

import pypdfium2
import pytest

from groupscan.report.pages.plan import plan_pdf
from groupscan.stats.plan import alternate_builds, rotate_heads

HOSTILE = "<b>fixed</b> $x$ **A** " + "and a name that is very long, " * 12
MM = 25.4 / 72


def pages(data):
    document = pypdfium2.PdfDocument(data)
    return list(document)


def words(data):
    return "\n".join(page.get_textpage().get_text_bounded() for page in pages(data))


def plan(order, **more):
    return plan_pdf(order, made_on=date(2026, 5, 3), **more)


@pytest.mark.parametrize(
    ("paper", "size"), [("letter", (215.9, 279.4)), ("a4", (210.0, 297.0))]
)  # ANSI/ASME Y14.1 size A; ISO 216
def test_the_page_has_the_papers_size_and_its_margins(paper, size):
    order = rotate_heads(["field", HOSTILE], [*range(1, 12), "arrow with a long name (brass)"], 8)
    for page in pages(plan(order, paper=paper, particulars=[("Rig", HOSTILE), ("Date", "")])):
        assert [side * MM for side in page.get_size()] == pytest.approx(size, abs=0.1)
        for thing in page.get_objects():
            left, bottom, right, top = (side * MM for side in thing.get_bounds())
            assert left >= 14.5
            assert right <= size[0] - 14.5
            assert bottom >= 6
            assert top <= size[1] - 14


def test_every_shot_stands_on_it_in_the_order_to_shoot():
    order = rotate_heads(["field", "broad"], ["K1", "K2", "K3", "K4", "K5"], 4)
    text = words(plan(order))
    told = [word for word in text.split() if word[0] == "K" and word[1:].isdigit()]
    assert told == [shot.arrow for shot in order.shots]
    for end in range(1, 5):
        assert f"End {end}" in text
    assert order.caution.split(";")[0] in " ".join(text.split())


def test_many_ends_go_on_to_more_pages():
    order = alternate_builds({"old": range(1, 7), "new": range(7, 13)}, 20)
    made = plan(order)
    assert len(pages(made)) > 2
    assert "End 20" in words(made)


def test_names_are_printed_whole_and_as_they_stand():
    text = " ".join(words(plan(rotate_heads(["field", HOSTILE], 4, 2))).split())
    assert " ".join(HOSTILE.split()) in text


def test_what_is_not_known_leaves_a_line_to_write_on():
    order = rotate_heads(["field", "broad"], 4, 2)
    given, open_ = (plan(order, particulars=[("Wind", value)]) for value in ("3 m/s", ""))
    assert "3 m/s" in words(given)
    assert "Wind" in words(open_)
    count = [sum(1 for _ in pages(data)[0].get_objects()) for data in (given, open_)]
    assert count[0] == count[1]  # text in the one, a line in the other


def test_the_same_plan_has_the_same_bytes():
    order = rotate_heads(["field", "broad"], 4, 2)
    assert plan(order) == plan(order)
