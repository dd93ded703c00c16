"""Invented words for people, streets, towns and houses. Any likeness to a real firm or person is chance."""

FIRM = "Thistledown Watering Service"
PASSWORD = "water-the-garden-26"  # noqa: S105 printed at the end of the command and written in the README


def _words(text: str, separator: str | None = None) -> tuple[str, ...]:
    return tuple(word.strip() for word in text.split(separator))


GIVEN = _words(
    "Ada Bela Cora Davin Edda Florin Greta Hugo Ines Jonas Katja Lorin Mira Nils Odette Pavel Quirin Rosa Silas "
    "Tilda Ulla Vito Wanda Xaver Yara Zeno Anouk Benno Clio Doran Elin Fenja"
)
FAMILY = _words(
    "Marlow Harrow Winslade Brandt Okafor Lindqvist Pereira Tamura Vasik Aldane Borrow Castell Dunmore Ellery "
    "Fairlea Gantry Holloway Ibsen Jessop Kestrel Larkin Maddern Norling Ostrander Penrose Quayle Ravenel Sorley "
    "Thackery Ullman Varga Westby Yarrow Zeller Ashdown Birkett Coldbeck Delaney Eastmoor Finch Garrow Hazelden "
    "Irvine Kirkby Loveday Merrow Nettleton Oakes Plover Rushden Selby Tolland Upton Verrall Wickham"
)
STREETS = _words(
    "Plover Lane|Sedge Street|Old Orchard Road|Heron Walk|Cooper's Rise|Bramble Way|Kiln Street|Lantern Hill|"
    "Mill Race Road|Teasel Avenue|Rookery Drive|Saddler Street|Foxglove Court|Windfall Road|Ferry Bank|Quarry Way|"
    "Tanner's Green|Barley Mow Road|Meadow End|Chandler Row",
    "|",
)
TREES = _words(
    "Rowan Alder Hornbeam Juniper Hazel Linden Maple Willow Larch Aspen Hawthorn Sorrel Cedar Birch Laurel "
    "Tamarack Elder Medlar Walnut Poplar Myrtle Spruce Acacia Chestnut"
)
HOUSES = _words("Court Terrace Gardens Close Square Mews Heights Green")
MANAGERS = ("Mossiter Housing Association", "Larkenfold Homes Cooperative", "Heronthwick Owners' Association")


def family(n: int) -> str:
    """The n-th family, from the second time round with a given name."""
    turn = n // len(FAMILY)
    word = FAMILY[n % len(FAMILY)]
    return word if turn == 0 else f"{cycled(GIVEN, turn)} {word}"


def cycled(words: tuple[str, ...], n: int) -> str:
    """The n-th word; from the second time round with a number, so that names stay apart at any size."""
    word, turn = words[n % len(words)], n // len(words)
    return word if turn == 0 else f"{word} {turn + 1}"
