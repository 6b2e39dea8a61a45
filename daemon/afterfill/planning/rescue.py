"""After a carry-over: how much neutraliser the whole tank needs, on the safe side."""

from afterfill.chemistry.neutraliser import needed_ml

SAFETY = 1.5  # of the posterior's upper end; a modest surplus does less harm than a shortage


def rescue_dose_ml(litres: float, residual_high_mg_l: float, mg_cl2_per_ml: float) -> float:
    """Neutraliser [mL] for `litres` of tank water that may hold `residual_high_mg_l` [mg/L as
    Cl2], at a strength in mg Cl2 per mL. Raises ModelDomainError for negative amounts.

    >>> round(rescue_dose_ml(120.0, 0.4, 40.0), 2)
    1.8
    """
    return needed_ml(litres, residual_high_mg_l, mg_cl2_per_ml, SAFETY)
