"""Numbers of toxicity and water-quality criteria, with source and status as in constants."""

from afterfill.chemistry.constants import Coefficients, Constant

_EPA_2013 = (
    "US EPA 2013, Aquatic life ambient water quality criteria for ammonia, freshwater, EPA "
    "822-R-13-001, as coded in public projects; the document was not opened"
)
AMMONIA_ACUTE_SALMONID = Coefficients(
    (0.275, 7.204, 39.0), "a/(1+10^(b-pH)) + c/(1+10^(pH-b)), mg N/L", _EPA_2013, "secondary"
)
AMMONIA_ACUTE = Coefficients(
    (0.7249, 0.0114, 7.204, 1.6181, 23.12, 0.036, 20.0),
    "a [b/(1+10^(c-pH)) + d/(1+10^(pH-c))] e 10^(f(g-t)), mg N/L",
    _EPA_2013,
    "secondary",
)
AMMONIA_CHRONIC = Coefficients(
    (0.8876, 0.0278, 7.688, 1.1994, 2.126, 0.028, 20.0, 7.0),
    "a [b/(1+10^(c-pH)) + d/(1+10^(pH-c))] e 10^(f(g-max(t,h))), mg N/L",
    f"{_EPA_2013}; g = 20 gives the published 1.9 at pH 7, 20 degrees C",
    "secondary",
)
CCME_UNIONISED = Constant(
    0.019, "mg NH3/L", "CCME guideline for un-ionised ammonia, summary table 2003", "secondary"
)
EIFAC_UNIONISED = Constant(0.025, "mg NH3/L", "EIFAC 1970, Technical Paper 11, Rome", "secondary")
LEAST_OXYGEN = Constant(
    5.0,
    "mg/L",
    "US EPA 1986, Ambient water quality criteria for dissolved oxygen, EPA 440/5-86-003: one-day "
    "minimum for early life of warm-water fish; above that of grown salmonids (4), below that of "
    "their fry (8)",
    "from memory",
)
SURPLUS_TANKFULS = Constant(
    2.0,
    "times the most the source may hold",
    "a dose for the whole tank, given twice by mistake, is the most to bear; own judgement",
    "common practice",
)

_EPA_1984 = "US EPA 1984 (1985), Ambient water quality criteria for chlorine, EPA 440/5-84-030"
CHLORINE_ACUTE = Constant(0.019, "mg/L as Cl2", f"{_EPA_1984}: fresh, one hour", "secondary")
CHLORINE_CHRONIC = Constant(0.011, "mg/L as Cl2", f"{_EPA_1984}: fresh, four days", "from memory")

_FARRELL = "Farrell et al. 2001/2002, Water Qual. Res. J. Can. 36:133 and 37:513, abstracts"
CHLORAMINE_LETHAL = Coefficients(
    (7244.0, 0.4525),
    "LC50 [ug/L] = a t^-b, t in minutes to 10 d, juvenile chinook salmon",
    _FARRELL,
    "read",
)
LETHAL_RANGE_MINUTES = Coefficients(
    (15.0, 14400.0),
    "from, to: the law's range; 15 min is own judgement",
    _FARRELL,
    "common practice",
)
HOCL_TOXICITY = Constant(
    4.0,
    "times NH2Cl or OCl-",
    "Mattice et al. 1981, Trans. Am. Fish. Soc. 110:519-525: HOCl about 4 times OCl-; Brooks & "
    "Bartos 1984, Trans. Am. Fish. Soc. 113: NH2Cl and OCl- a third to a quarter of HOCl; "
    "abstracts; the second one's authors from memory",
    "read",
)
HARM_BELOW_LETHAL = Constant(
    2.0,
    "times below LC50",
    "half of an LC50 is taken to kill few or none: US EPA's criteria are half of a final acute "
    "value (regulations that say so were read; that it is for this reason is from memory)",
    "secondary",
)
MORE_SENSITIVE_FISH = Constant(
    3.3,
    "times as sensitive as trout",
    "emerald shiners; Brooks & Bartos 1984, Trans. Am. Fish. Soc. 113, abstract; authors from "
    "memory",
    "read",
)
