"""What --vary asks for: paths, values, ranges, and the one line for what will not do."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenclay.tools.plan.variants import changes_of, read_vary, varied
from evenclay.tools.property.file.mistakes import PropertyError
from evenclay.tools.property.property import Property, load

DEMO = Path(__file__).parents[2] / "sim" / "demo" / "property.toml"


@pytest.fixture(scope="module")
def demo() -> Property:
    return load(DEMO)


@pytest.mark.parametrize(
    ("option", "path", "values"),
    [
        ("soil.texture=clay,silty clay", ("soil", "texture"), ("clay", "silty clay")),
        ("soil.conductivity=0.5, 2,5", ("soil", "conductivity"), (0.5, 2, 5)),
        ("zones.*.share=60..140..20", ("zones", "*", "share"), (60, 80, 100, 120, 140)),
        ("zones.west.width=0.5..0.61..0.05", ("zones", "west", "width"), (0.5, 0.55, 0.6)),
        ("zones.west.cap=1 h,2 h", ("zones", "west", "cap"), ("1 h", "2 h")),
        ("zones.a.cap=60..90..15 min", ("zones", "a", "cap"), ("60 min", "75 min", "90 min")),
        ('zones.west.cover="planted, shaded",bare', None, ("planted, shaded", "bare")),
        ('zones."back door".share=50', ("zones", "back door", "share"), (50,)),
        ("seasons[2].window=22:00-08:00", ("seasons", 1, "window"), ("22:00-08:00",)),
        ("seasons[2].from=05-01,2021-05-01", None, ("05-01", "2021-05-01")),
        ("owner.checks=true,false", ("owner", "checks"), (True, False)),
        ('lockouts.quiet.allowed_weekdays=["mon"],["sat"]', None, (["mon"], ["sat"])),
    ],
)
def test_what_an_option_means(
    option: str, path: tuple[str | int, ...] | None, values: tuple[object, ...]
) -> None:
    found = read_vary(option)
    assert found.values == values
    assert [type(value) for value in found.values] == [type(value) for value in values]
    assert path is None or found.path == path


@pytest.mark.parametrize(
    ("option", "said"),
    [
        ("soil.texture", "allowed PATH=VALUE"),
        ("=clay", "allowed PATH=VALUE"),
        ("soil.texture=", "allowed values divided by commas"),
        ("soil..texture=clay", "allowed a path such as"),
        ("[1].minutes=5", "allowed a path such as"),
        ("seasons[0].minutes=5", "allowed a path such as"),
        ("zones.west.share=140..60..20", "allowed FIRST..LAST..STEP"),
        ("zones.west.share=60..140..0", "allowed FIRST..LAST..STEP"),
        ("zones.*.share=60..140", "found zones.*.share=60..140, allowed FIRST..LAST..STEP, such"),
        ("soil.conductivity=0..5000..1", "more than 1000 values"),
        ('soil.texture="clay,1', "allowed values divided by commas"),
        ("soil.texture=a\nb", "allowed values divided by commas"),
        ("soil.texture=cley", 'soil.texture: found "cley", allowed "sand", '),
        ("soil.txture=clay", "soil.txture: found an unknown key, allowed texture"),
        ("soil=clay", 'soil: found "clay", allowed a table'),
        ("soil.texture.x=1", "allowed soil.texture itself"),
        ("soil[1]=1", "allowed a key: soil is no list"),
        ("zones.wst.share=100", "allowed zones.west, zones.east, zones.north, zones.front"),
        ("seasons[9].minutes=5", "allowed seasons[1], seasons[2], "),
        ("zones.west.cap=5", "zones.west.cap: found 5 (no unit), allowed 1 to 720 min"),
        ("site.latitude=nan", "site.latitude: found nan, allowed"),
        ("lockouts.battery.reserve=11", "lockouts.battery.open_above: found no open_above"),
    ],
)
def test_what_will_not_do_is_one_line(demo: Property, option: str, said: str) -> None:
    def all_of_them() -> list[Property]:
        return [varied(demo, changes) for changes in changes_of([read_vary(option)])]

    with pytest.raises(PropertyError) as caught:
        all_of_them()
    assert len(caught.value.lines) == 1
    assert said in caught.value.lines[0]
    assert caught.value.lines[0].isprintable()


@given(st.text(max_size=40))
def test_any_text_is_read_or_refused(option: str) -> None:
    lines: list[str] = []
    try:
        read_vary(option)
    except PropertyError as error:
        lines = error.lines
    assert all(line.isprintable() for line in lines)


def test_values_go_in_and_nothing_else_moves(demo: Property) -> None:
    varies = [read_vary("soil.conductivity=0.5,2"), read_vary("zones.*.share=90")]
    found = [varied(demo, changes) for changes in changes_of(varies)]
    assert [prop.soil.conductivity for prop in found] == [0.5, 2.0]
    assert {zone.share for prop in found for zone in prop.zones.values()} == {90.0}
    shares = {name: zone.share for name, zone in demo.zones.items()}
    back = found[0].model_copy(
        update={
            "soil": demo.soil,
            "zones": {
                n: z.model_copy(update={"share": shares[n]}) for n, z in found[0].zones.items()
            },
        }
    )
    assert back.model_dump() == demo.model_dump()
    assert demo.soil.conductivity is None


def test_every_combination_in_order_and_each_path_once() -> None:
    varies = [read_vary("soil.texture=clay,loam"), read_vary("owner.misses=0,20,40")]
    shown = [[change.shown for change in changes] for changes in changes_of(varies)]
    assert shown == [
        ["clay", 0],
        ["clay", 20],
        ["clay", 40],
        ["loam", 0],
        ["loam", 20],
        ["loam", 40],
    ]
    with pytest.raises(PropertyError, match=r"soil\.texture twice"):
        changes_of([varies[0], varies[0]])


def test_columns_hold_numbers_of_one_kind_or_text() -> None:
    def shown(option: str) -> list[object]:
        return [change.shown for (change,) in changes_of([read_vary(option)])]

    assert shown("soil.conductivity=0.5,2") == [0.5, 2.0]
    assert [type(value) for value in shown("soil.conductivity=0.5,2")] == [float, float]
    assert shown("estimate.dose=5,10") == [5, 10]
    assert shown("zones.west.cover=bare,0.7") == ["bare", "0.7"]
    assert shown("owner.checks=true,false") == ["true", "false"]


def test_a_compilers_refusal_names_the_variant(demo: Property) -> None:
    from evenclay.tools.property.compile import compile_house

    (changes,) = changes_of([read_vary("zones.west.share=300")])
    with pytest.raises(PropertyError) as caught:
        compile_house(varied(demo, changes))
    assert "property.toml with zones.west.share=300: " in caught.value.lines[0]
