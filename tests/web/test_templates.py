"""Every template is loaded, and none carries what the policy of the pages would block."""

import re
from pathlib import Path
from typing import Any

import pytest
from bs4 import BeautifulSoup
from jinja2 import Environment
from litestar.plugins.jinja import JinjaTemplateEngine

from sowbench.web import formats

TEMPLATES = Path(formats.__file__).parent / "templates"
NAMES = sorted(each.relative_to(TEMPLATES).as_posix() for each in TEMPLATES.rglob("*.html"))


@pytest.fixture(scope="module")
def environment() -> Environment:
    engine = JinjaTemplateEngine(TEMPLATES)
    formats.prepare(engine)
    return engine.engine


def shapes_of(environment: Environment) -> dict[str, str]:
    module: Any = environment.get_template("icons.html").module
    shapes: dict[str, str] = module.shapes
    return shapes


def rendered(environment: Environment, source: str, **context: object) -> Any:
    template = environment.from_string('{% import "macros.html" as m %}' + source)
    return BeautifulSoup(template.render(**context), "html.parser")


@pytest.mark.parametrize("name", NAMES)
def test_a_template_loads(environment, name):
    assert environment.get_template(name).name == name


@pytest.mark.parametrize("name", NAMES)
def test_a_template_has_nothing_that_the_policy_blocks(name):
    source = (TEMPLATES / name).read_text(encoding="utf-8")
    assert not re.search(r"\sstyle\s*=", source), "colors and sizes come from the style sheet"
    assert not re.search(r"\son[a-z]+\s*=", source), "handlers belong into a script"
    assert "<style" not in source
    assert "javascript:" not in source
    for tag in re.findall(r"<script[^>]*>", source):
        assert "src=" in tag or 'type="application/json"' in tag


def test_the_mark_of_a_chance_says_by_its_shape_and_words_what_its_color_says(environment):
    marks = {}
    for mid in (0.97, 0.88, 0.55):
        drawn = rendered(environment, "{{ m.chance(mid - 0.02, mid, mid + 0.02, 0.95) }}", mid=mid)
        box = drawn.select_one(".chance")
        marks[box["class"][1]] = (
            drawn.select_one(".chance-mark")["d"],
            drawn.svg["aria-label"],
        )
    assert list(marks) == ["good", "watch", "act"]
    assert len({shape for shape, _ in marks.values()}) == 3
    assert marks["watch"][1] == "Chance 88 %, between 86 % and 90 %; 95 % is wanted. Watch."


def test_a_chance_lies_on_a_line_of_200_from_0_to_1(environment):
    drawn = rendered(environment, "{{ m.chance(0.5, 0.6, 0.75, 0.95) }}")
    # 8 at the left, so 8 + 200 x 0.5 = 108 wide 50, middle at 128, wanted at 198.
    assert drawn.select_one(".chance-span")["x"] == "108.0"
    assert drawn.select_one(".chance-span")["width"] == "50.0"
    assert drawn.select_one(".chance-mark")["transform"] == "translate(128.0,13)"
    assert drawn.select_one(".chance-wanted")["d"].startswith("M198.0 ")


def test_a_chance_without_range_shows_only_its_mark(environment):
    drawn = rendered(environment, "{{ m.chance(none, 0.96, none, 0.95) }}")
    assert drawn.select_one(".chance-span") is None
    assert drawn.select_one(".chance-mark") is not None


def test_an_unknown_chance_is_said_not_drawn(environment):
    drawn = rendered(environment, "{{ m.chance(none, none, none, 0.95) }}")
    assert drawn.svg is None
    assert drawn.get_text(strip=True) == "not known"


def test_a_flag_says_its_level_to_who_cannot_see_it(environment):
    for level, words in (("act", "Act:"), ("watch", "Watch:"), ("good", "Good:")):
        drawn = rendered(
            environment, "{% call m.flag(level) %}<b>Short</b>{% endcall %}", level=level
        )
        assert drawn.select_one(".unseen").get_text() == words
        assert drawn.b.get_text() == "Short"


def test_what_a_person_typed_is_shown_and_never_run(environment):
    drawn = rendered(
        environment,
        "{{ m.facts([(name, name, name)]) }}{{ m.link(name, '/x?of=' ~ name|urlencode) }}",
        name='<script>alert("x")</script>',
    )
    assert drawn.script is None
    assert drawn.dt.get_text() == '<script>alert("x")</script>'


def test_a_chart_cannot_end_its_own_script(environment):
    drawn = rendered(
        environment, "{{ m.chart('room', spec, 'words') }}", spec={"name": "</script><b>x</b>"}
    )
    assert drawn.b is None
    assert drawn.select_one("script#room")["type"] == "application/json"
    assert "</script>" not in drawn.script.string
    assert drawn.figure["data-chart"] == "room"
    assert drawn.figcaption.get_text() == "words"


def test_two_entries_of_a_form_have_two_ids(environment):
    drawn = rendered(environment, "{{ m.entry_id() }}{{ m.entry_id() }}")
    ids = [each["value"] for each in drawn.select("input[name=id]")]
    assert all(re.fullmatch(r"[0-9a-f]{32}", each) for each in ids)
    assert ids[0] != ids[1]


def test_every_drawing_that_has_a_name_can_be_drawn(environment):
    shapes = shapes_of(environment)
    for name in shapes:
        drawn = rendered(environment, "{{ m.glyph(name) }}", name=name)
        assert drawn.svg["aria-hidden"] == "true"
        assert drawn.svg.find(True) is not None


def test_every_kind_of_place_has_a_drawing(environment):
    from sowbench.domain.records import PlaceKind

    shapes = shapes_of(environment)
    assert {each.value for each in PlaceKind} <= set(shapes)
