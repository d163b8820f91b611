"""A bounded share of the fuzz; `tests/bench/fuzz.py` and `tests/fuzz/guided.py` go on for hours."""

import pytest

hypothesis = pytest.importorskip("hypothesis")
pytest.importorskip("svgpathtools")

from hypothesis import HealthCheck, given, settings  # noqa: E402
from hypothesis import strategies as st  # noqa: E402

from tests.fuzz.cases import CASES, borne, borne_options  # noqa: E402
from tests.fuzz.readers import READERS, feed, hurt_of  # noqa: E402
from tests.made_up.cad import reader  # noqa: E402
from tests.made_up.hurts import MANY, MOST_HURTS  # noqa: E402

reader("ezdxf")
NUMBER = st.integers(0, MANY - 1)
CHOICES = st.lists(st.tuples(NUMBER, NUMBER, NUMBER), min_size=1, max_size=MOST_HURTS)
HEALTH = {
    "deadline": None,
    "derandomize": True,
    "database": None,
    "suppress_health_check": list(HealthCheck),
}


@pytest.fixture(scope="module")
def bases(tmp_path_factory):
    return tmp_path_factory.mktemp("bases")


@pytest.fixture(scope="module")
def work(tmp_path_factory):
    return tmp_path_factory.mktemp("work")


@pytest.mark.parametrize("name", READERS)
@settings(max_examples=25, **HEALTH)
@given(choices=CHOICES)
def test_a_reader_of_a_hurt_file(name, choices, work):
    reader = READERS[name]
    feed(reader, hurt_of(reader)(reader.sound, choices), work)


@pytest.mark.parametrize("name", READERS)
@settings(max_examples=10, **HEALTH)
@given(data=st.binary(max_size=200))
def test_a_reader_of_anything(name, data, work):
    feed(READERS[name], data, work)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_the_unhurt_folder_is_sound(case, work, bases):
    assert borne(case, [], work, bases) == []


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
@settings(max_examples=2, **HEALTH)
@given(choices=CHOICES)
def test_a_command_on_a_hurt_folder(case, choices, work, bases):
    assert borne(case, choices, work, bases) == []


@settings(max_examples=15, **HEALTH)
@given(choices=CHOICES)
def test_a_command_with_odd_options(choices, work, bases):
    assert borne_options(choices, work, bases) == []
