"""Native plants: none is ever read as an invader, and the listed ones are told."""

from __future__ import annotations

import pytest

from invasimap.inputs.species import aside_reason, load_catalogue

CATALOGUE = load_catalogue()

# native plants of eastern and central woods, written down from memory and not from the shipped list
NATIVES = """
Acer rubrum; Acer saccharinum; Acer negundo; Aesculus glabra; Alnus serrulata; Amelanchier arborea; Amphicarpaea
bracteata; Apios americana; Aralia nudicaulis; Arisaema triphyllum; Asclepias exaltata; Asimina triloba; Campsis
radicans; Cardamine concatenata; Carpinus caroliniana; Carya ovata; Celastrus scandens; Cephalanthus occidentalis;
Cercis canadensis; Cornus florida; Cornus racemosa; Corylus americana; Crataegus phaenopyrum; Diervilla lonicera;
Dioscorea villosa; Diospyros virginiana; Elymus hystrix; Euonymus americanus; Fagus grandifolia; Fragaria virginiana;
Frangula caroliniana; Fraxinus americana; Geum canadense; Gymnocladus dioicus; Hamamelis virginiana; Hydrangea
arborescens; Ilex opaca; Ilex verticillata; Impatiens capensis; Juglans cinerea; Juglans nigra; Juniperus virginiana;
Leersia oryzoides; Leersia virginica; Lespedeza virginica; Lindera benzoin; Liriodendron tulipifera; Lonicera
canadensis; Lonicera dioica; Lonicera flava; Lonicera oblongifolia; Lonicera reticulata; Lonicera sempervirens;
Lonicera villosa; Lygodium palmatum; Menispermum canadense; Morus rubra; Nyssa sylvatica; Osmorhiza longistylis;
Ostrya virginiana; Pachysandra procumbens; Parthenocissus quinquefolia; Persicaria arifolia; Persicaria sagittata;
Persicaria virginiana; Phlox divaricata; Physocarpus opulifolius; Prunus serotina; Prunus virginiana; Quercus
acuminata; Quercus rubra; Rhamnus alnifolia; Rhamnus lanceolata; Rhus aromatica; Rhus copallinum; Rhus glabra; Rhus
typhina; Ribes cynosbati; Robinia pseudoacacia; Rosa blanda; Rosa carolina; Rosa palustris; Rosa setigera; Rosa
virginiana; Rubus allegheniensis; Rubus occidentalis; Rubus odoratus; Rubus strigosus; Sambucus canadensis; Sassafras
albidum; Shepherdia canadensis; Smilax rotundifolia; Spiraea alba; Spiraea tomentosa; Staphylea trifolia;
Symphoricarpos albus; Symphoricarpos orbiculatus; Ulmus americana; Toxicodendron radicans; Toxicodendron vernix;
Vaccinium corymbosum; Viburnum acerifolium; Viburnum dentatum; Viburnum lantanoides; Viburnum lentago; Viburnum
prunifolium; Viburnum rafinesqueanum; Viburnum trilobum; Viburnum opulus var. americanum; Vitis riparia; Wisteria
frutescens; Phragmites australis subsp. americanus; American bittersweet; American elm; American hazelnut; arrowwood
viburnum; bayberry; black cherry; black locust; black raspberry; bladdernut; bristly greenbrier; buttonbush; Carolina
buckthorn; Carolina rose; chokeberry; coralberry; cow parsnip; dog hobble; eastern red cedar; eastern wahoo;
elderberry; flowering dogwood; fly honeysuckle; gooseberry; grape honeysuckle; hackberry; hairy honeysuckle; highbush
blueberry; highbush cranberry; hog peanut; honewort; honeywort; inland sea oats; jewelweed; jumpseed; maple-leaved
viburnum; moonseed; mountain maple; nannyberry; native bittersweet; native honeysuckle; native rose; ninebark;
northern bayberry; northern bush honeysuckle; pasture rose; pawpaw; poison ivy; possumhaw; prickly ash;
purple-flowering raspberry; red mulberry; red raspberry; river birch; smooth rose; smooth sumac; snowberry; spicebush;
staghorn sumac; strawberry bush; striped maple; sugar maple; swamp rose; swamp privet; sycamore; trumpet honeysuckle;
Virginia creeper; Virginia knotweed; Virginia rose; water hemlock; white oak; white ash; whitegrass; wild bergamot;
wild ginger; wild rose; winterberry; witch hazel; yellow poplar; yellow buckeye; yellow birch
"""


@pytest.mark.parametrize("written", [" ".join(name.split()) for name in NATIVES.split(";")])
def test_no_native_plant_is_read_as_an_invader(written):
    for text in (written, written.upper(), f"{written}?", f"{written} seedlings"):
        assert not CATALOGUE.match(text).known, text


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("Celastrus scandens", "Celastrus scandens"), ("American bittersweet", "Celastrus scandens"),
        ("CESC", "Celastrus scandens"), ("Diervilla lonicera Mill.", "Diervilla lonicera"),
        ("Northern bush-honeysuckle", "Diervilla lonicera"), ("Rhamnus caroliniana", "Frangula caroliniana"),
        ("Rhus hirta", "Rhus typhina"), ("black walnut (Juglans nigra)", "Juglans nigra"),
        ("Leersia virginica Willd.", "Leersia virginica"), ("Polygonum virginianum", "Persicaria virginiana"),
        ("Phragmites australis subsp. americanus", "Phragmites australis ssp. americanus"),
        ("Phragmites australis var. americanus", "Phragmites australis ssp. americanus"),
        ("native common reed", "Phragmites australis ssp. americanus"), ("native spicebush", "Lindera benzoin"),
    ],
)  # fmt: skip
def test_listed_native_is_told_and_set_aside(written, name):
    match = CATALOGUE.match(written)
    assert (match.scientific_name, match.native, match.known) == (name, True, False)
    assert aside_reason(match).startswith(f"native plant ({name}, ")
    assert "not counted for treatment" in aside_reason(match)


def test_unlisted_subspecies_is_not_taken_for_the_invader():
    match = CATALOGUE.match("Phragmites australis subsp. berlandieri")
    assert (match.known, match.suggestions) == (False, ("Phragmites australis",))


def test_misspelt_native_is_read_as_native_with_its_score():
    match = CATALOGUE.match("Lindera benzion")
    assert match.native and match.how == "'Lindera benzion' read as Lindera benzoin (93 of 100 alike)"
    assert match.how in aside_reason(match)


@pytest.mark.parametrize("written", ["native honeysuckle", "native rose", "native multiflora rose", "native sedge"])
def test_a_plant_said_to_be_native_is_asked_about(written):
    match = CATALOGUE.match(written)
    assert not match.known and "is said to be native" in match.reason


def test_an_invader_counts():
    match = CATALOGUE.match("Rosa multiflora")
    assert match.known and not match.native and aside_reason(match) == ""
