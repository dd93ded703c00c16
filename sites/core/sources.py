"""Every publication behind a figure that a person can read as a rule: its short name and its full citation.

A figure names one of these, or "common practice" where the trade uses it without one. `NOT_CONFIRMED` stands
behind a publication whose printed page nobody here has compared with the figure yet. Numbers were compared as each
citation says; titles are as usually cited, some from memory.
"""

from dataclasses import dataclass

COMMON_PRACTICE = "common practice"
NOT_CONFIRMED = "not confirmed in print"
DEFINITION = "definition"


@dataclass(frozen=True)
class Source:
    """`short` is what stands beside a figure; `citation` is where it is printed, or what was compared instead."""

    short: str
    citation: str

    def __str__(self) -> str:
        return self.short

    @property
    def unconfirmed(self) -> str:
        """The short name for a figure of this publication that was not compared with its print."""
        return f"{self.short}, {NOT_CONFIRMED}"


S623 = Source(
    "ANSI/ASABE S623.1 (2017) annual plant factors",
    "ANSI/ASABE S623.1, January 2017, Determining Landscape Plant Water Demands; 0.5 dry and 0.7 humid for trees and "
    "woody plants as in ASHS 2014 conference paper 18790. The scope leaves out food plants, sports fields and golf.",
)
SLIDE = Source(
    "Kjelgren et al. 2016",
    "Kjelgren, Beeson, Pittenger, Montague 2016, Simplified Landscape Irrigation Demand Estimation: SLIDE Rules, "
    "Applied Engineering in Agriculture 32(4), pp. 363-379; the basis of S623.",
)
UC_SLIDE = Source(
    "UC SLIDE tabulation",
    "University of California, tabulation of plant factors after the SLIDE rules, with food plants.",
)
MEYER_1985 = Source(
    "Meyer, Gibeault, Youngner 1985, monthly turf Kc as tabulated by the UC extension",
    "Meyer, Gibeault, Youngner 1985, pp. 357-364; "
    "table of the University of California, Turfgrass Crop Coefficients. Warm-season turf in January is 0.55 in an "
    "independent copy; the UC page prints 0.61 there, the cool-season figure beside it.",
)
LCM_2000 = Source(
    "landscape coefficient method (Costello et al. 2000)",
    "Costello, Matheny, Clark, Jones 2000, A Guide to Estimating Irrigation Water Needs of Landscape Plantings in "
    "California: the Landscape Coefficient Method and WUCOLS III, chapter 2.",
)
FAO56_TABLE_12 = Source(
    "FAO-56 Table 12",
    "Allen, Pereira, Raes, Smith 1998, Crop evapotranspiration, FAO Irrigation and Drainage Paper 56, Table 12: turf "
    "grass 0.90, 0.95, 0.95 cool season, 0.80, 0.85, 0.85 warm season.",
)
FAO56_ET = Source(
    "FAO-56 Eq. 6 and chapter 3",
    "Allen, Pereira, Raes, Smith 1998, FAO Irrigation and Drainage Paper 56, Eq. 6 with the equations of chapter 3.",
)
FAO56_SOIL = Source(
    "FAO-56 Eq. 82, 83",
    "Allen, Pereira, Raes, Smith 1998, FAO Irrigation and Drainage Paper 56, chapter 8, Eq. 82 and 83.",
)
FAO56_BALANCE = Source(
    "FAO-56 Eq. 85 to 88",
    "Allen, Pereira, Raes, Smith 1998, FAO Irrigation and Drainage Paper 56, chapter 8, Eq. 85 to 88.",
)
FAO56_INTERVAL = Source(
    "FAO-56 chapter 8",
    "Allen, Pereira, Raes, Smith 1998, FAO Irrigation and Drainage Paper 56, chapter 8.",
)
FAO56_MULCH = Source(
    "FAO-56 chapter 11",
    "Allen, Pereira, Raes, Smith 1998, FAO Irrigation and Drainage Paper 56, chapter 11: dead vegetation lowers soil "
    "evaporation by about 5 % for each 10 % of ground it covers, so by half at full cover; transpiration stays.",
)
NEH_623 = Source(
    "USDA-NRCS NEH Part 623 chapter 2, Eq. 2-84 and 2-85",
    "USDA-NRCS, National Engineering Handbook, Part 623, chapter 2, Irrigation Water Requirements, Eq. 2-84 and "
    "2-85; millimetre form USDA-SCS Technical Release 21. Compared with the open library pycropwat 1.3.0.",
)
IA_2005 = Source(
    "Irrigation Association, Landscape Irrigation Scheduling and Water Management (March 2005)",
    "Irrigation Association, Water Management Committee, Landscape Irrigation Scheduling and Water Management, March "
    "2005; its purpose, near the low half, an upper limit: Mecham 2010, doi 10.13031/2013.35895. The constants 0.4 "
    "and 0.6 were not compared with the print.",
)
SWAT_2008 = Source(
    "controller testing protocol (2008 draft)",
    "Testing protocol for climatologically based irrigation controllers, 8th draft, 2008: tables of basic intake and "
    "allowable surface accumulation, compared with two independent copies; the available water was not.",
)
CCR_23 = Source(
    "California Code of Regulations, Title 23, sections 490-495",
    "California Code of Regulations, Title 23, division 2, chapter 2.7, sections 490 to 495 and appendix B, Model "
    "Water Efficient Landscape Ordinance (2015), with the figures of 2009 and 1992 before it.",
)
EPA_BUDGET = Source(
    "EPA WaterSense water budget (2009; tool 1.02, 2014)",
    "US EPA, WaterSense revised water budget approach, 2009, option 2 (70 % of ETo of the peak month), and water "
    "budget tool 1.02, 2014. The tables of the tool were not compared with the print.",
)
UC_DAVIS_DU = Source(
    "UC Davis, distribution uniformity",
    "University of California, Davis, California Center for Urban Horticulture, Measuring distribution "
    "uniformity and run time: mean of the low quarter over the mean, 24 to 40 cans, a multiple of four.",
)
AUDIT_2009 = Source(
    "Recommended Audit Guidelines (September 2009)",
    "Irrigation Association, Recommended Audit Guidelines, September 2009: wind at most 5 mph (2.2 m/s), after ASAE "
    "S398.1.",
)
NEC_TABLE_11 = Source(
    "NEC Chapter 9 Table 11(A), Article 725",
    "NFPA 70, National Electrical Code, Article 725 and Chapter 9 Table 11(A): Class 2 up to 30 V and 100 VA.",
)
NEC_TABLE_11_WET = Source(
    "NEC Chapter 9 Table 11 note 2 (2005)",
    "NFPA 70, National Electrical Code, 2005, Chapter 9 Table 11 note 2: where wet contact is likely, Class 2 above "
    "15 V AC needs Class 3 wiring methods.",
)
NBS_100 = Source("NBS Handbook 100", "National Bureau of Standards, Handbook 100, Copper Wire Tables, 1966.")
IEC_60228 = Source("IEC 60228", "IEC 60228, Conductors of insulated cables, greatest resistance at 20 degC.")
HAZEN_WILLIAMS = Source(
    "Hazen-Williams",
    "Hazen-Williams equation: 10.67, 1.852, 4.87 metric, 4.52 in gpm, inches and psi a foot; constants as in the US "
    "EPA's network solvers.",
)
JARRETT_2000 = Source(
    "Jarrett 2000",
    "Jarrett, Water Management, 2nd edition, 2000, pp. 336-337: water in mains never above 5 ft/s (1.5 m/s).",
)
NFPA_291 = Source(
    "NFPA 291", "NFPA 291, Recommended Practice for Water Flow Testing: flow goes with the pressure drop to 0.54."
)
NOAA_NORMALS = Source(
    "NOAA climate normals",
    "NOAA National Centers for Environmental Information, U.S. Climate Normals, freeze dates by chance.",
)
NWS_FROST = Source(
    "National Weather Service", "US National Weather Service: frost 36, freeze 32, hard freeze 28 degF."
)
UTAH_FREEZE = Source(
    "Utah Climate Center freeze dates",
    "Utah Climate Center, freeze date tables: at most 10 days missing, seasons split at 24 July and 24 January.",
)
STEPHENS_1986 = Source(
    "D'Agostino, Stephens 1986",
    "Stephens, Tests based on EDF statistics, in D'Agostino, Stephens, Goodness-of-fit Techniques, 1986, "
    "pp. 122-141.",
)
NIST_PERCENTILES = Source("NIST e-Handbook 7.2.6.2", "NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.2.")
ICAO_ATMOSPHERE = Source("ICAO standard atmosphere", "ICAO Doc 7488, standard atmosphere: 6.5 K a kilometre.")
DOSA_2007 = Source(
    "Dosa 2007",
    "Dosa 2007, The tight bound of first fit decreasing bin-packing; Dosa, Li, Han, Tuza 2013, doi "
    "10.1016/j.tcs.2013.09.007: at most 11/9 of the fewest bins and 6/9.",
)
BALLOU_2002 = Source(
    "Ballou et al. 2002",
    "Ballou, Rahardja, Sakai 2002, Selected country circuity factors for road travel distance estimation, "
    "Transportation Research A 36(9), pp. 843-848: 1.12 to 2.10 by country.",
)
NEWELL_1980 = Source(
    "Newell 1980", "Newell 1980, Traffic Flow on Transportation Networks: 1.2 for random urban trips."
)


def joined(*sources: Source | str) -> str:
    """Several sources as they stand beside one figure."""
    return "; ".join(str(source) for source in sources)


SOURCES: tuple[Source, ...] = tuple(
    {found.short: found for found in globals().values() if isinstance(found, Source)}.values()
)


def cited(words: str) -> tuple[Source, ...]:
    """The publications that `words` beside a figure name, in the order they are named."""
    found = [source for source in SOURCES if source.short in words]
    longest = [one for one in found if not any(one.short in other.short for other in found if other is not one)]
    return tuple(sorted(longest, key=lambda source: words.index(source.short)))
