"""Mutants that must die: small mistakes in the code that some test has to notice.

``python tests/bench/mutants.py [WORD ...]`` makes each mistake (all, or those whose name holds a
word) in a copy of the program, runs the tests that should notice, and prints whether they did; ends
with 1 when one survived. `test_mutants.py` makes the same ones in CI.
"""

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).resolve().parents[2]
_PARTS = ("daemon", "drivers", "tests", "pyproject.toml", "README.md", "DEVELOPERS.md")
_INFERENCE = "daemon/afterfill/inference/"


class Mutant(NamedTuple):
    """In `file`, `before` becomes `after`; `tests` should notice."""

    name: str
    file: str
    before: str
    after: str
    tests: str


MUTANTS = (
    Mutant(
        "a forecast is held against water that came later",
        "daemon/afterfill/tank_forecasts.py",
        "near & ~overtaken",
        "near",
        "tests/service/test_tank_forecasts.py",
    ),
    Mutant(
        "forecasts that overlap count as if each stood for itself",
        "daemon/afterfill/audit/answers.py",
        "record.said_s >= last.time_s and ",
        "",
        "tests/audit/test_audit_answers.py",
    ),
    Mutant(
        "a kit errs just as it is supposed to",
        "daemon/afterfill/audit/evidence.py",
        "return min(_mean_density(bet, span) for span in spans)",
        "return _mean_density(bet, spans[-1])",
        "tests/audit/test_audit_evidence.py::test_a_hundred_zeros_on_empty_water_are_no_evidence",
    ),
    Mutant(
        "what tests answered is dropped with all that is old",
        "daemon/afterfill/journal/retention.py",
        'f"DELETE FROM record WHERE seq <= ? AND {_MAY_GO}"',
        '"DELETE FROM record WHERE seq <= ?"',
        "tests/journal/test_keeping.py"
        "::TestPruning::test_what_tests_answered_is_kept_when_all_around_it_goes",
    ),
    Mutant(
        "the tap is never drawn again",
        _INFERENCE + "model/regularisation.py",
        "if ridge is not None and number in UNTREATED:",
        "if False and number in UNTREATED:",
        "tests/inference/test_regularisation.py",
    ),
    Mutant(
        "the law is taken for the truth",
        _INFERENCE + "model/observations.py",
        "priors.LAW_SIGMA",
        "1e-9",
        "tests/inference/test_decision_and_doubt.py",
    ),
    Mutant(
        "chloramine counts the same on every probe",
        _INFERENCE + "model/parameters.py",
        'lambda s, n: np.minimum(drawn(s.learnt, n, "w_combined"), 1.0)',
        "lambda s, n: np.full(n, priors.W_COMBINED)",
        "tests/inference/test_decision_and_doubt.py",
    ),
    Mutant(
        "a kit is never wrong altogether",
        _INFERENCE + "model/observations.py",
        "np.log(right * fits + low + high)",
        "np.log(np.maximum(right * fits, 1e-300))",
        "tests/inference/test_observations.py",
    ),
    Mutant(
        "ammonia is never used up",
        _INFERENCE + "model/transition.py",
        "    state[CAPACITY] -= bound\n",
        "",
        "tests/inference/test_transition.py",
    ),
    Mutant(
        "what stands at the limit is over it",
        _INFERENCE + "monitor/watch.py",
        "weights @ (particles.state[PEAK] > limit_mg_l)",
        "weights @ (particles.state[PEAK] >= limit_mg_l)",
        "tests/inference/test_watch_reading.py",
    ),
    Mutant(
        "what was learnt of a tap holds for good",
        _INFERENCE + "source.py",
        "known.log_sd**2 + _PER_ROOT_YEAR**2 * years",
        "known.log_sd**2",
        "tests/inference/test_source_belief.py::test_what_was_learnt_grows_with_the_root_of_time",
    ),
    Mutant(
        "unseen water is clear",
        _INFERENCE + "monitor/decision.py",
        "if not _sighted(watch, time_s) or watch.masked:",
        "if False:",
        "tests/inference/test_decision_and_doubt.py",
    ),
    Mutant(
        "the background does not follow",
        _INFERENCE + "model/observations.py",
        "after[BACKGROUND_MV] += gain * innovation",
        "after[BACKGROUND_MV] += 0.0 * innovation",
        "tests/inference/test_observations.py",
    ),
    Mutant(
        "a rescue forgets the air that it orders",
        "daemon/afterfill/planning/rescue.py",
        "phs = sorted((ahead.now, ahead.still, ahead.aerated))",
        "phs = [ahead.now] * 3",
        "tests/planning/test_day_ahead.py",
    ),
    Mutant(
        "a repeated word is new water",
        _INFERENCE + "monitor/announcements.py",
        'return "repeated" if amended(old, pour) == old else "amended"',
        'return "new"',
        "tests/inference/test_announcements.py",
    ),
    Mutant(
        "a pause is quiet",
        _INFERENCE + "monitor/baseline.py",
        "min(step_s, _MOST_OF_A_GAP_S)",
        "step_s",
        "tests/alarms/test_standing.py",
    ),
    Mutant(
        "learning raises an alarm",
        "daemon/afterfill/tank_conditions.py",
        '(active("cannot-see") or now.learning_s is None)',
        "True",
        "tests/alarms/test_standing.py",
    ),
    Mutant(
        "a refill without an answer is forgotten with its particles",
        _INFERENCE + "monitor/watch.py",
        "if is_undecided(watch, time_s):",
        "if False:",
        "tests/inference/test_watch_reading.py",
    ),
    Mutant(
        "a suspicion within a suspicion makes the refill before them forgotten",
        _INFERENCE + "monitor/begin.py",
        "thinned(believed_in(old), _FEW)",
        "thinned(old, _FEW)",
        "tests/inference/test_past_watch.py",
    ),
    Mutant(
        "behind a filter few particles hold raw water",
        _INFERENCE + "model/hypotheses.py",
        "raw = replace(water, breakthrough=1.0)",
        "raw = water",
        "tests/inference/test_hypotheses.py",
    ),
    Mutant(
        "work silences an alarm that asks",
        "daemon/afterfill/alarms/lifecycle.py",
        "if not status.acknowledged:",
        "if False:",
        "tests/alarms/test_alarm_states.py",
    ),
    Mutant(
        "work on one probe suppresses the alarms of another",
        "daemon/afterfill/alarms/manager.py",
        "work.quantity in (None, *definition.judged_by)",
        "True",
        "tests/alarms/test_alarm_manager.py",
    ),
    Mutant(
        "what waited is dropped when another thing is told",
        "daemon/afterfill/sinks/notify/rules.py",
        "told_run_s=state.run_s, times=1) if id(e) in told else e",
        "told_run_s=state.run_s, times=1)",
        "tests/sinks/test_notify_timing.py",
    ),
    Mutant(
        "a restart believes a snapshot that holds a wrong word",
        "daemon/afterfill/service/restore.py",
        "if corrected.knows_better(kept[0]):",
        "if False:",
        "tests/service/test_corrections_under_way.py::test_a_snapshot_that_holds_the_wrong_word_is_passed_over",
    ),
    Mutant(
        "what a wrong word taught is read from the journal again",
        "daemon/afterfill/journal/words.py",
        "return None if void and self.is_stale(entry.seq) else entry.record",
        "return entry.record",
        "tests/service/test_corrections.py::test_a_corrected_word_ends_as_if_it_had_been_said_right",
    ),
    Mutant(
        "a correction that was taken back still holds",
        "daemon/afterfill/told.py",
        "pile.pop()",
        "pile.append((number, None))",
        "tests/service/test_corrections.py::test_a_correction_of_a_correction_and_what_is_refused",
    ),
)


def survives(mutant: Mutant, folder: Path) -> bool:
    """Whether the tests pass with the mistake in a copy of the program in `folder`."""
    for part in _PARTS:
        source = ROOT / part
        if source.is_dir():
            shutil.copytree(source, folder / part, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(source, folder / part)
    file = folder / mutant.file
    text = file.read_text()
    assert text.count(mutant.before) >= 1, f"{mutant.name}: the line is no longer there"
    file.write_text(text.replace(mutant.before, mutant.after, 1))
    paths = os.pathsep.join(str(folder / part) for part in ("daemon", "drivers"))
    done = subprocess.run(
        # plain: to show how two states differ takes minutes, and who looks at it?
        [sys.executable, "-m", "pytest", "-q", "-x", "--assert=plain", "-p", "no:cacheprovider",
         mutant.tests],
        cwd=folder, env={**os.environ, "PYTHONPATH": paths}, capture_output=True, text=True,
        timeout=200, check=False,
    )  # fmt: skip
    assert done.returncode in (0, 1), f"{mutant.name}: {done.stdout[-800:]}{done.stderr[-800:]}"
    return done.returncode == 0


def main() -> int:
    """See the module."""
    words = sys.argv[1:]
    survivors = 0
    for mutant in MUTANTS:
        if words and not any(word in mutant.name for word in words):
            continue
        with tempfile.TemporaryDirectory(prefix="mutant-") as folder:
            survived = survives(mutant, Path(folder))
        survivors += survived
        print(f"{'SURVIVED' if survived else 'killed':<9} {mutant.name}", flush=True)
    return int(survivors > 0)


if __name__ == "__main__":
    sys.exit(main())
