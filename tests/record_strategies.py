"""Hypothesis strategies for every record, its stamp and recordings."""

from hypothesis import strategies as st

from afterfill.records import (
    QUANTITIES,
    AlarmChange,
    AlarmCommand,
    AlarmLoad,
    Calibration,
    Correction,
    Dose,
    Estimate,
    Event,
    Evidence,
    Forecast,
    ForecastCheck,
    Health,
    KitResult,
    MachineState,
    Note,
    ProbeLearnt,
    Quantiles,
    Reading,
    Record,
    Refill,
    RefillReady,
    RefillSeen,
    ResponseCheck,
    Service,
    SourceBelieved,
    SourceLearnt,
    SourceTest,
    Stamp,
    Standing,
    Stock,
    StockLeft,
    Tick,
    Verdict,
)

numbers = st.floats(allow_nan=False, allow_infinity=False, width=64)
positive = st.floats(min_value=0, max_value=50, allow_nan=False)
times_s = st.integers(0, 4_000_000_000_000).map(lambda ms: ms / 1000)
tanks = st.sampled_from(["window", "trout-1", "Ölbecken"])
texts = st.text(max_size=30)
known_from = st.none() | times_s
quantiles = st.builds(Quantiles, numbers, numbers, numbers)
stamps = st.builds(Stamp, times_s, st.booleans(), texts, st.floats(0, 1e9))
INVALID = ["no-answer", "bad-checksum", "port-lost"]

readings = st.builds(
    Reading, times_s, tanks, st.sampled_from(QUANTITIES), numbers, texts
) | st.builds(
    Reading,
    times_s,
    tanks,
    st.sampled_from(QUANTITIES),
    st.none(),
    texts,
    st.sampled_from(INVALID),
    texts,
)
refills = st.builds(
    Refill,
    times_s,
    tanks,
    st.sampled_from(["replace", "add"]),
    st.none() | st.floats(0.1, 5000),
    st.none() | st.floats(0, 600),
    st.none() | positive,
    st.none() | st.sampled_from(["tap", "well"]),
    known_from,
)
kits = st.builds(
    KitResult,
    times_s,
    tanks,
    positive,  # one value at least, as the payload demands
    st.none() | positive,
    st.none() | positive,
    st.none() | st.floats(0, 14),
    known_from,
)
source_tests = st.builds(
    SourceTest,
    times_s,
    tanks,
    st.none() | st.sampled_from(["tap", "well"]),
    positive,
    st.none() | positive,
    known_from,
)
doses = st.builds(Dose, times_s, tanks, positive, known_from)
stocks = st.builds(
    Stock,
    times_s,
    tanks,
    st.sampled_from(["bought", "opened", "counted"]),
    st.floats(0.1, 5000),
    st.none() | st.sampled_from(["n", "drops"]),
    known_from,
)
services = st.builds(
    Service,
    times_s,
    tanks,
    st.sampled_from(["probe", "feeding", "cleaning", "other"]),
    known_from,
)
alarm_names = st.sampled_from(["residual-oxidant", "probe-lost"])
alarm_commands = st.builds(
    lambda time_s, tank, alarm, logged_s: AlarmCommand(
        time_s, tank, alarm, "acknowledge", None, logged_s
    ),
    times_s,
    tanks,
    alarm_names,
    known_from,
) | st.builds(
    lambda time_s, tank, alarm, minutes, logged_s: AlarmCommand(
        time_s, tank, alarm, "shelve", minutes, logged_s
    ),
    times_s,
    tanks,
    alarm_names,
    st.floats(0.1, 1000),
    known_from,
)
taken_out = st.builds(
    lambda time_s, tank, alarm, reason, logged_s: AlarmCommand(
        time_s, tank, alarm, "out-of-service", None, logged_s, reason
    ),
    times_s,
    tanks,
    alarm_names,
    st.text(min_size=3, max_size=30),
    known_from,
)
calibrations = st.builds(
    Calibration,
    times_s,
    tanks,
    st.sampled_from(QUANTITIES),
    texts,
    st.none() | numbers,
    st.none() | numbers,
    known_from,
)
checks = st.builds(
    ResponseCheck,
    times_s,
    tanks,
    st.floats(0.1, 400),
    st.floats(0.1, 50),
    st.floats(0.1, 5),
    positive,
    st.booleans(),
    st.none() | st.floats(0, 14),
    texts,
    known_from,
)
notes = st.builds(
    Note, times_s, tanks, st.text(min_size=1, max_size=30).filter(str.strip), known_from
)
words = st.one_of(refills, kits, source_tests, doses, stocks, services, calibrations, checks, notes)
corrections = st.builds(
    Correction, times_s, tanks, st.integers(1, 1 << 53), st.none() | words, known_from
)
events: st.SearchStrategy[Event] = st.one_of(words, alarm_commands, taken_out)
machine_states = st.builds(
    MachineState,
    times_s,
    tanks,
    st.sampled_from(["storage-low", "power-low", "journal-failing", "journal-damaged"]),
    st.none() | st.booleans(),
    texts,
)
sources_learnt = st.builds(
    SourceLearnt,
    times_s,
    tanks,
    st.sampled_from(["tap", "well"]),
    st.floats(-10, 5),
    st.floats(1e-6, 5),
    times_s,
    st.integers(0, 99),
    st.floats(0, 1),
    st.floats(0, 1e6),
    st.floats(0, 1e6),
    st.sampled_from(["chlorine", "chloramine", "unknown", ""]),
    st.booleans(),
)
stocks_left = st.builds(
    StockLeft,
    times_s,
    tanks,
    st.sampled_from(["n", "drops"]),
    st.none() | positive,
    positive,
    st.none() | times_s,
    times_s,
    times_s,
    st.integers(0, 99),
    st.lists(positive, max_size=5).map(tuple),
    st.lists(positive, max_size=5).map(tuple),
)
outputs = st.one_of(
    st.builds(
        Forecast,
        times_s,
        tanks,
        st.just(24.0),
        st.none() | times_s,
        st.none() | times_s,
        st.none() | quantiles,
        st.none() | times_s,
        st.booleans(),
    ),
    st.builds(
        ProbeLearnt,
        times_s,
        tanks,
        st.just(("b_mv", "c0_mg_l")),
        st.tuples(numbers, numbers),
        st.tuples(numbers, numbers),
        st.integers(0, 99),
        numbers,
        numbers,
    ),
    st.builds(
        ForecastCheck,
        times_s,
        tanks,
        times_s,
        times_s,
        st.sampled_from([0.0, 1.0, 24.0]),
        st.booleans(),
        numbers,
        quantiles,
        st.none() | quantiles,
        quantiles,
        st.none() | numbers,
        st.none() | positive,
        st.none() | positive,
        st.none() | positive,
    ),
    st.builds(
        SourceBelieved,
        times_s,
        tanks,
        st.sampled_from(["tap", "well"]),
        st.sampled_from(["tap", "filtered", "stored"]),
        st.sampled_from(["chlorine", "chloramine", "unknown"]),
        quantiles,
        st.none() | times_s,
        st.integers(0, 99),
        st.none() | st.floats(0, 1),
        st.none() | st.floats(0, 10),
        st.booleans(),
    ),
    st.builds(RefillReady, times_s, tanks, st.booleans(), st.just(()) | st.tuples(texts)),
    st.builds(
        Standing,
        times_s,
        tanks,
        st.sampled_from(["safe", "not-safe", "cannot-tell", "learning"]),
        times_s,
        texts,
        st.booleans(),
        st.none() | numbers,
    ),
    st.builds(
        Estimate,
        times_s,
        tanks,
        quantiles,
        quantiles,
        quantiles,
        quantiles,
        st.none() | quantiles,
        numbers,
        st.none() | numbers,
        st.booleans(),
        st.none() | texts,
    ),
    st.builds(RefillSeen, times_s, tanks, st.just("announced"), quantiles),
    st.builds(
        Verdict,
        times_s,
        tanks,
        times_s,
        st.just("possible"),
        numbers,
        quantiles,
        st.booleans(),
        st.lists(st.builds(Evidence, texts, numbers), max_size=3, unique_by=lambda e: e.source).map(
            tuple
        ),
    ),
    st.builds(
        AlarmChange,
        times_s,
        tanks,
        alarm_names,
        st.just("acknowledged"),
        st.just("high"),
        st.booleans(),
        texts,
        st.booleans(),
        st.booleans(),
    ),
    st.builds(
        Health,
        times_s,
        tanks,
        texts,
        st.booleans(),
        st.none() | numbers,
        st.integers(0, 1 << 40),
        texts,
    ),
)
counts = st.integers(0, 1 << 40)
loads = st.builds(AlarmLoad, times_s, tanks, numbers, *[counts] * 8)
records: st.SearchStrategy[Record] = st.one_of(
    readings,
    st.builds(Tick, times_s, tanks),
    events,
    corrections,
    machine_states,
    sources_learnt,
    stocks_left,
    loads,
    outputs,
)
