"""Mixed-integer models solved by HiGHS: the best solution found, the bound that no solution can pass, and their gap."""

import time
from collections.abc import Mapping
from dataclasses import dataclass

import pyomo.environ as pyo
from pyomo.contrib.appsi.base import TerminationCondition
from pyomo.contrib.appsi.solvers import Highs

FEASIBILITY = 1e-7
"""How far HiGHS may pass a constraint; its own default, stated so that tests rest on it."""

EXACT_GAP = 1e-9
"""A relative gap below this counts as none: HiGHS' own rounding."""

NONE_EXISTS = (TerminationCondition.infeasible, TerminationCondition.infeasibleOrUnbounded)


@dataclass(frozen=True)
class Solved:
    """objective : of the best solution found, in the model's unit; bound : no solution is better
    seconds : on the clock; timed_out : the time limit ended the search
    """

    objective: float
    bound: float
    seconds: float
    timed_out: bool

    @property
    def gap_fraction(self) -> float:
        """By how much of the solution found a better one might be better; 0 where it is the best."""
        away = abs(self.bound - self.objective)
        if away <= EXACT_GAP * max(1.0, abs(self.objective)):
            return 0.0
        return away / abs(self.objective) if self.objective else float("inf")


@dataclass(frozen=True)
class Unmet:
    """A limit that cannot be met with the others: by how much, in its own unit."""

    name: str
    unit: str
    asked: float
    missing: float

    def __str__(self) -> str:
        way = "over" if self.missing > 0 else "short of"
        return f"{self.name}: {abs(self.missing):,.6g} {self.unit} {way} the {self.asked:,.6g} {self.unit} asked for"


class UnmetLimitsError(Exception):
    """Limits that no choice of positions meets together. unmet : those that the nearest choice misses."""

    def __init__(self, unmet: tuple[Unmet, ...]) -> None:
        self.unmet = unmet
        super().__init__("; ".join(map(str, unmet)))


def solver(gap: float, time_limit_s: float) -> Highs:
    """HiGHS as all models here use it."""
    opt = Highs()
    opt.config.load_solution = False
    opt.config.time_limit = time_limit_s
    opt.config.mip_gap = gap
    opt.config.warmstart = True
    opt.highs_options = {
        "mip_abs_gap": 0.0 if gap == 0.0 else 1e-6,
        "primal_feasibility_tolerance": FEASIBILITY,
        "mip_feasibility_tolerance": FEASIBILITY,
        "random_seed": 0,
        "output_flag": False,
    }
    return opt


def relaxed_bound(opt: Highs, model: pyo.ConcreteModel) -> float | None:
    """The optimum of a model without whole numbers, whose variables then hold it; -inf where there is none, None where
    the time was too short.

    opt : kept from call to call, so that what is new is all that is handed over
    """
    found = opt.solve(model)
    if found.termination_condition in NONE_EXISTS:
        return float("-inf")
    if found.termination_condition != TerminationCondition.optimal:
        return None
    found.solution_loader.load_vars()
    return float(found.best_feasible_objective)


def search_above(model: pyo.ConcreteModel, least: float, gap: float, time_limit_s: float) -> tuple[bool, float, bool]:
    """Search a model for a solution above an objective: whether there is one, which the variables then hold; the bound
    that none passes, -inf where none lies above; and whether the time was too short to tell.

    The model keeps the demand as ``above``.
    """
    (aim,) = model.component_data_objects(pyo.Objective, active=True)
    model.above = pyo.Constraint(expr=aim.expr >= least)
    for v in model.component_data_objects(pyo.Var):
        v.value = None
    found = solver(gap, time_limit_s).solve(model)
    if found.termination_condition in NONE_EXISTS:
        return False, float("-inf"), False
    bound = found.best_objective_bound
    late = found.termination_condition == TerminationCondition.maxTimeLimit
    if found.best_feasible_objective is not None:
        found.solution_loader.load_vars()
    return found.best_feasible_objective is not None, float("inf") if bound is None else float(bound), late


def solve(model: pyo.ConcreteModel, gap: float, time_limit_s: float) -> Solved | None:
    """Solve a model to a relative gap or until the time is up; its variables then hold the best solution.

    Where every variable has a value, the search begins from there.
    gap : [-] 0: the best there is.  None where no solution exists.
    Raises TimeoutError where the time was too short for any solution.
    """
    opt = solver(gap, time_limit_s)
    begin = time.perf_counter()
    found = opt.solve(model)
    seconds = time.perf_counter() - begin
    ended = found.termination_condition
    if ended in NONE_EXISTS:
        return None
    if found.best_feasible_objective is None:
        raise TimeoutError(f"no solution within {time_limit_s:g} s")
    found.solution_loader.load_vars()
    objective = float(found.best_feasible_objective)
    bound = objective if found.best_objective_bound is None else float(found.best_objective_bound)
    return Solved(objective, bound, seconds, ended == TerminationCondition.maxTimeLimit)


def solve_or_explain(
    model: pyo.ConcreteModel, limits: Mapping[str, tuple[pyo.Constraint, str]], gap: float, time_limit_s: float
) -> Solved:
    """Solve; where limits cannot be met together, find which and by how much.

    limits : by name: a one-sided constraint of the model with a constant on its right, and its unit
    The second solve lets every limit give way and makes what is missing, summed as shares of the limits, least.
    Raises UnmetLimitsError naming what gives way then.
    """
    solved = solve(model, gap, time_limit_s)
    if solved is not None:
        return solved
    if not limits:
        raise ValueError("the model has no solution even without limits")
    model.slack = pyo.Var(list(limits), domain=pyo.NonNegativeReals)
    model.elastic = pyo.ConstraintList()
    size = {}
    for name, (constraint, _) in limits.items():
        most, least = constraint.upper, constraint.lower
        side = pyo.value(most if most is not None else least)
        size[name] = max(1.0, abs(side))
        give = size[name] * model.slack[name]
        body = constraint.body
        model.elastic.add(body - give <= side if most is not None else body + give >= side)
        constraint.deactivate()
    for objective in model.component_objects(pyo.Objective, active=True):
        objective.deactivate()
    model.least_missing = pyo.Objective(expr=sum(model.slack[name] for name in limits), sense=pyo.minimize)
    if solve(model, 0.0, time_limit_s) is None:
        raise ValueError("the model has no solution even without limits")
    unmet = []
    for name, (constraint, unit) in limits.items():
        missing = size[name] * pyo.value(model.slack[name])
        if missing > 1e-6 * size[name]:
            over = constraint.upper is not None
            asked = pyo.value(constraint.upper if over else constraint.lower)
            unmet.append(Unmet(name, unit, float(asked), missing if over else -missing))
    raise UnmetLimitsError(tuple(unmet))
