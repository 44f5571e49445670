"""The bibliography and the rules of the trade: each fact stands here once."""

from __future__ import annotations

SOURCES: dict[str, str] = {
    "iso7256": "ISO 7256-1:1984, Sowing equipment - Test methods - Part 1: Single seed drills "
    "(precision drills).",
    "kachman1995": "Kachman & Smith 1995, Alternative measures of accuracy in plant spacing for "
    "planters using single seed metering, Trans ASAE 38(2):379-387.",
    "beverloo1961": "Beverloo, Leniger & van de Velde 1961, The flow of granular solids through "
    "orifices, Chem Eng Sci 15:260.",
    "myers": "Myers & Sellers, the slot form of the orifice flow law (from memory).",
    "chang1991": "Chang, Converse & Steele 1991, Flow rates of grain through various shapes of "
    "vertical and horizontal orifices, Trans ASAE 34(4):1789.",
    "onal2012": "Onal, Degirmencioglu & Yazgi 2012, Turk J Agric For 36:133-144.",
    "karayel2004": "Karayel, Barut & Ozmerzi 2004, Mathematical modelling of vacuum pressure on a "
    "precision seeder, Biosyst Eng 87(4):437-444.",
    "liao2018": "Liao et al. 2018, Trans CSAE 34(24).",
    "guarella1996": "Guarella, Pellerano & Pascuzzi 1996, J Agric Eng Res 64:29-36.",
    "montaine2011": "Montaine, Heckel, Kruelle, Schwager & Poeschel 2011, Coefficient of "
    "restitution as a fluctuating quantity, Phys Rev E 84:041306, arXiv 1104.0049 (from memory).",
    "yazgi2016": "Yazgi 2016, Appl Eng Agric 32(6):783-790.",
    "banaj2022": "Banaj et al. 2022, J Cent Eur Agric 23(3):642-654.",
    "steele2014": "Steele, Lea & Flood 2014, Fast splittable pseudorandom number generators, "
    "OOPSLA '14 (from memory).",
    "wichura1988": "Wichura 1988, Algorithm AS 241: the percentage points of the normal "
    "distribution, Appl Stat 37(3):477-484.",
    "cody1969": "Cody 1969, Rational Chebyshev approximations for the error function, Math Comp "
    "23(107):631-637.",
    "dlmf": "NIST Digital Library of Mathematical Functions, chapter 8 (from memory).",
    "rasmussen2006": "Rasmussen & Williams 2006, Gaussian Processes for Machine Learning, chapters "
    "2 and 5 (from memory).",
    "gao2024": "Gao et al. 2024, Agriculture 14(11):1878.",
    # seed lots
    "sezer": "Sezer et al., measured properties of dent maize (year and journal not noted).",
    "darfour2022": "Darfour 2022, measured properties of maize (journal not noted).",
    "purdue_corn": "Purdue University extension, corn guide.",
    "coskun2006": "Coskun et al. 2006, J Food Eng 74:523.",
    "wandkar2012": "Wandkar et al. 2012, measured properties of soybean (journal not noted).",
    "kibar2008": "Kibar 2008, Int Agrophys 22(3).",
    "seifi": "Seifi & Alimardani, measured properties of sunflower (year and journal not noted).",
    "isik2007": "Isik & Izli 2007, measured properties of sunflower (journal not noted).",
    "dursun2007": "Dursun et al. 2007, J Stored Prod Res 43:149.",
    "razavi2009": "Razavi et al. 2009, J Agric Sci Technol 11:309.",
    "sorghum2014": "Measured properties of sorghum, J Med Bioeng 2014 (authors not noted).",
    "uga2021": "University of Georgia 2021, seed mass of cotton.",
    "jayan": "Jayan & Kumar, measured properties of cotton seed (year and journal not noted).",
    "chhina2011": "Chhina & Sharma 2011, measured properties of onion seed (journal not noted).",
    "iowa_soybean": "Iowa State University extension, seeds per pound of soybean.",
    "burns": "Burns et al., kernel mass of maize from 119 pairs of counted samples (year and "
    "journal not noted).",
    "egli1987": "Egli et al. 1987, size of soybean seed on screens, Agron J 79(3):463.",
    "koklu2020": "Koklu & Ozkan 2020, 13,611 seeds of seven dry bean varieties, UCI data set.",
    "canola_screens": "A seed firm's note on losses of canola on screens (low authority).",
    # published behaviour of meters and planters
    "torosoglu": "Torosoglu & Aydin, electric and ground drive of a vacuum planter, laboratory "
    "(year and journal not noted).",
    "ankara2021": "J Agric Sci Ankara 2021, a vacuum planter in the field (authors not noted).",
    "bozdogan2008": "Bozdogan 2008, Sci Agric 65(3).",
    "qi2013": "Qi et al. 2013, ASABE 131589600.",
    "ankara_pickup": "Ankara J Agric Sci, pick-up heights of five kinds of seed (authors and year "
    "not noted).",
    "huazhong2023": "J Huazhong Agric Univ 2023, scraper gaps for maize and soybean (authors not "
    "noted).",
    "banaj": "Banaj et al., the stand of banaj2022 at 10 km/h and with sunflower (years and "
    "journals not noted).",
    "mattana": "Mattana et al., Semiarida, bench and field (abstract; year and volume not noted).",
    "plantsci2025": "Front Plant Sci 2025, doi 10.3389/fpls.2025.1700037 (authors not noted).",
    "wheat_stand": "Wheat metered singly on a test stand (abstract; authors, year and journal not "
    "noted).",
    "panning2000": "Panning, Kocher, Smith & Kachman 2000, Appl Eng Agric 16(1):7-13.",
    "nadin2019": "Nadin et al. 2019, J Exp Agric Int 37(2).",
    "liu2017": "Liu et al. 2017, IJABE 10(4):98-106.",
    "sensors2019": "Sensors 2019, 19(23):5191 (authors not noted).",
    "scau2017": "J S China Agric Univ 2017, seed sensors (authors not noted).",
    # standards beside ISO 7256-1
    "iso11783": "ISO 11783-11, data dictionary, entries 415 to 425.",
    "gbt6973": "GB/T 6973-2005, modified from ISO 7256-1.",
    "db32t1023": "DB32/T 1023-2007, Jiangsu, precision maize sowing.",
    "nyt1628": "NY/T 1628-2008.",
    # studies of many runs, and what counts as good
    "onal1995": "Onal 1995, classes of quality of feed, multiple and miss index; as used by Yazgi "
    "& Degirmencioglu 2007, Biosyst Eng 97(3):347-356 (from memory).",
    "mckay1979": "McKay, Beckman & Conover 1979, A comparison of three methods for selecting "
    "values of input variables, Technometrics 21(2):239-245 (from memory).",
    "sobol1967": "Sobol' 1967, the distribution of points in a cube, USSR Comput Math Math Phys "
    "7(4):86-112 (from memory).",
    "saltelli2010": "Saltelli et al. 2010, Variance based sensitivity analysis of model output, "
    "Comput Phys Commun 181(2):259-270.",
    # counts
    "anscombe1948": "Anscombe 1948, The transformation of Poisson, binomial and negative-binomial "
    "data, Biometrika 35:246-254 (from memory).",
    "cohen1988": "Cohen 1988, Statistical power analysis for the behavioral sciences, 2nd ed., "
    "chapter 6 (from memory).",
    "extension_rows": "University of Tennessee and Manitoba extension, length of row in a "
    "thousandth of an acre (years not noted).",
    # stand and yield
    "nielsen1991": "Nielsen 1991 and 1997, Purdue University, spacing and yield of maize.",
    "nielsen2004": "Nielsen 2004, Purdue University, spacing and yield of maize.",
    "doerge2001": "Doerge et al. 2001, spacing and yield of maize (publisher not noted).",
    "liu2004": "Liu et al. 2004, Agron J 96:275.",
    "lauer2004": "Lauer & Rankin 2004, Agron J.",
    "nafziger1991": "Nafziger, Carter & Graham 1991, Response of corn to uneven emergence, "
    "Crop Sci 31:811-815 (from memory).",
    "nafziger1996": "Nafziger 1996, J Prod Agric 9(2):238.",
}

NO_SOURCE = "common practice, no source"

HANDBOOK_HOLE = (0.5, 0.66)  # hole over the seed's width; handbooks, from memory
MOST_NOTCHES = 1.0  # most notches from the centre, for all but small round seed
SMALL_ROUND = (3e-3, 0.8)  # assumption: canola-like seed is shorter [m] and rounder

SPEED_STUDIED = ("maize",)  # crop of nadin2019, bozdogan2008 and mattana

TRADE_VACUUM = {  # kPa at the hole; common practice from memory, no source
    "maize": (3.5, 5.5),
    "soybean": (2.5, 4.0),
    "sunflower": (2.0, 4.0),
    "cotton": (2.5, 4.5),
    "sorghum": (2.0, 3.5),
    "sugar beet": (1.5, 3.5),
    "canola": (1.5, 3.0),
}
USUAL_DEMAND = {
    "maize": ((80_000, 75, 6), (34_000, 30, 5)),
    "soybean": ((400_000, 45, 6), (150_000, 15, 5)),
    "sunflower": ((65_000, 75, 6), (24_000, 30, 5)),
    "cotton": ((120_000, 96, 6), (45_000, 38, 4.5)),
    "sorghum": ((180_000, 75, 6), (70_000, 30, 4.5)),
    "sugar beet": ((110_000, 50, 6), (50_000, 22, 4)),
    "canola": ((500_000, 45, 5), (200_000, 15, 4)),
    "wheat": ((2_000_000, 20, 4), (800_000, 7.5, 3)),
}
"""Seeds per ha, cm between rows, km/h; and seeds per acre, in, mph; common practice from memory, no
source."""
HARD_TO_HOLD = 1e3  # Pa; assumption: gauge, fan and leaks make less than this hard to hold

LEAVE = "nothing is out of order: leave it"
DOUBLES = "more doubles than wanted: one notch more aggressive"
SKIPS = "more skips than wanted: one notch less aggressive, and check the vacuum"
CENTRE = "maize starts with the singulator at the centre of its travel"
TRAVEL = "maize ends at most one notch from the centre"
CHECK_HOLE = "check hole size against seed size"
TOO_FAR = f"more than one notch from the centre would be needed: {CHECK_HOLE}"
AGGRESSIVE = "small round seed starts at the most aggressive end"
GATE = "a gate too low starves the pool, one too high dislodges seed"
HOLES = "{:g} to {:g}".format(*HANDBOOK_HOLE)
HOLE = f"the hole is about {HOLES} of the seed's width"
ONE = "one setting at a time"
FASTER = (
    "quality falls with travel speed in the field (nadin2019, bozdogan2008), or does not change "
    "(mattana)"
)


def is_small_round(length: float, sphericity: float) -> bool:
    """Whether seed is small and round, as canola, and starts at the most aggressive end.

    Parameters
    ----------
    length : float
        Length of a seed. [m]
    sphericity : float
        Sphericity of a seed, 1 for a ball. [1]

    Notes
    -----
    assumption: `SMALL_ROUND`; the trade names crops, not sizes.
    """
    return length < SMALL_ROUND[0] and sphericity > SMALL_ROUND[1]
