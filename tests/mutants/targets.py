"""Which files are the core, and which tests decide about each: the quick ones, seconds each."""

from __future__ import annotations

_CONTRACT = ("tests/contract",)
_BOUNDS = "tests/agree/test_bounds_agree_with_formulas.py"
_OBSERVED = "tests/agree/test_observers_agree_with_formulas.py"
_SCOPES = ("globally", "before", "after", "between", "after-until")
_PATTERNS = ("never", "always", "exists", "leads to", "only after")
_ASKING = (
    "tests/known/test_pattern_traces.py",
    f"{_BOUNDS}::test_the_scans_until_the_response_are_measured",
    f"{_BOUNDS}::test_a_response_that_came_late_is_not_measured",
    "tests/unit/judgement/test_verify.py",
    "tests/unit/judgement/test_margin.py",
    *(
        f"{_OBSERVED}::test_after_scan_only_the_states_after_scans_are_judged"
        f"[{pattern}, {scope}-ask]"
        for scope in _SCOPES
        for pattern in _PATTERNS
    ),
    *(
        f"{_BOUNDS}::test_a_late_response_is_found_exactly_where_it_refutes_the_formula[{scope}-ask]"
        for scope in _SCOPES
    ),
)
_LEGS = (
    "tests/contract/test_legs.py",
    "tests/known/test_pattern_traces.py",
    f"{_BOUNDS}::test_the_scans_until_the_response_are_measured",
)
_ENUMERATED_LEGS = (
    "tests/contract/test_legs.py",
    "tests/unit/engines/test_enumerate.py",
    *_LEGS[1:],
)
_ENUMERATED = ("tests/unit/engines/test_enumerate.py", *_CONTRACT)
_SYMBOLIC = (
    "tests/unit/engines/symbolic/test_encoding.py",
    "tests/unit/engines/symbolic/test_moves.py",
    "tests/unit/engines/symbolic/test_settling.py",
    *_CONTRACT,
)
_KERNEL = ("tests/unit/kernel", "tests/contract")
_OBSERVERS = (
    "tests/known/test_pattern_traces.py",
    "tests/unit/judgement/test_verify.py",
    "tests/agree/test_observers_agree_with_formulas.py",
    *(
        f"{_BOUNDS}::test_a_late_response_is_found_exactly_where_it_refutes_the_formula[{scope}-observe]"
        for scope in _SCOPES
    ),
)
_LOWERING = (
    "tests/unit/st",
    "tests/agree/test_lowering_agrees_with_interpreter.py",
    "tests/agree/test_counters_agree.py",
    "tests/agree/test_counters_of_other_types_agree.py",
)
_JUDGE = ("tests/unit/independent_judge",)
_TRACES_IN_TIME = "tests/known/test_pattern_traces_in_time.py"
_TRACES = (
    "tests/unit/independent_judge/test_trace.py",
    "tests/known/test_pattern_traces.py",
    "tests/agree/test_bounds_agree_with_formulas.py",
)
_MODELS = (
    "tests/unit/model/test_build.py",
    "tests/unit/independent_judge/test_judge.py",
    "tests/unit/independent_judge/test_player.py",
    "tests/unit/judgement/test_verify.py",
)
_FAULTS = (
    "tests/unit/model/test_faults.py",
    "tests/agree/test_fault_kinds_agree.py",
    "tests/unit/model/test_malformed.py",
    "tests/unit/model/test_names.py",
    "tests/unit/independent_judge/test_judge.py",
)
_TURNS = (
    "tests/unit/model/test_turns.py",
    "tests/unit/independent_judge/test_turns.py",
    "tests/known/test_between_scans.py",
    "tests/known/test_chance.py",
    "tests/agree/test_several_controllers_agree.py",
)
_CLOCKS = (
    "tests/unit/model/test_clocks.py",
    "tests/unit/independent_judge/test_clocks.py",
    "tests/known/test_time.py",
    "tests/known/test_quantities.py",
)
_LATE = ("tests/known/test_old_values.py", "tests/agree/test_old_values_agree.py")
_DELAYS = ("tests/known/test_delays_in_time.py", "tests/agree/test_delays_agree.py")
_CUT_SETS = ("tests/unit/engines/symbolic/test_cutsets.py",)
_KNOWN = "tests/known/test_functional_safety.py"
_TABLE = "tests/known/test_table_k1.py"
_TELLING = (
    "tests/unit/judgement/test_detection.py",
    "tests/unit/commands/faults/test_study.py",
    "tests/agree/test_announced_agrees.py",
)
_STUDY = "tests/unit/commands/faults/test_study.py"
_JUDGED = (
    "tests/unit/judgement/test_verify.py",
    "tests/unit/judgement/test_no_false_verdict.py",
    "tests/unit/judgement/test_reaction.py",
)
_FEW_CLOCKS = (
    "tests/unit/judgement/test_few_clocks.py",
    "tests/agree/test_few_clocks_agree.py",
)
_SINGLE = ("tests/unit/judgement/test_single_fault.py", *_TELLING, "tests/known/test_chance.py")
_LOCKSTEP = "tests/agree/test_lockstep_agrees_with_two_players.py"
_REHEARSED = "tests/unit/commands/rehearse/test_every_run_is_judged.py"
_INSIDE = ("tests/unit/model/test_names_inside.py", "tests/unit/model/test_wired.py")
_UNITS = ("tests/unit/model/test_exact_unit.py", "tests/agree/test_exact_unit_agrees.py")
_SHORT = ("tests/known/test_short_forms_of_old_values.py",)
_SEVERAL = (
    "tests/known/test_several_controllers.py",
    "tests/unit/model/test_several_controllers.py",
)
_RUN_FILES = ("tests/unit/independent_judge/test_run_file.py", *_CLOCKS)
_PLAYED = (*_JUDGE, *_TURNS)
_AS_WRITTEN = ("tests/unit/independent_judge/test_classes_as_written.py", "tests/unit/st/direct")
_SHOWN = (
    "tests/unit/pictures/test_run_views.py",
    "tests/unit/pictures/test_time_in_pictures.py",
    "tests/unit/commands/verify/test_run_files.py",
    "tests/unit/commands/verify/test_runs.py",
)
_READ = (
    "tests/unit/model/test_malformed.py",
    "tests/unit/model/test_names.py",
    "tests/unit/model/test_schema.py",
)
_TIMED = (
    *_CLOCKS,
    "tests/unit/model/test_several_controllers_in_time.py",
    "tests/known/test_interrupted.py",
)
_CLASSES = (
    "tests/unit/model/test_value_classes.py",
    "tests/unit/model/test_numbers_of_classes.py",
    "tests/unit/model/test_scaled.py",
    "tests/unit/independent_judge/test_inputs_in_classes.py",
    "tests/unit/st/test_mixed_values.py",
    "tests/unit/st/test_any_values.py",
)
_RECHECKED = ("tests/unit/evidence", "tests/unit/commands/recheck/test_claims.py")
_FOLDERS = ("tests/unit/evidence", "tests/unit/commands/recheck")
_CUT_SHORT = (
    "tests/unit/commands/recheck/test_evidence.py::test_what_was_cut_short_is_told_as_not_checkable"
)
_CERTIFIED = (
    "tests/unit/engines/symbolic/test_certify.py",
    "tests/unit/evidence",
    "tests/agree/test_certificates_agree.py",
)
_TREES = (
    "tests/unit/reliability/test_fault_tree.py",
    "tests/unit/reliability/test_quantify.py",
    "tests/unit/reliability/test_voting.py",
    "tests/known/test_fault_trees.py",
)


def _all(folder: str, names: str, tests: tuple[str, ...]) -> dict[str, tuple[str, ...]]:
    return {f"interlock/{folder}/{name}.py": tests for name in names.split()}


def _each(folder: str, names: str) -> dict[str, tuple[str, ...]]:
    """Files with a test file of their own, and the published figures."""
    return {
        f"interlock/{folder}/{name}.py": (f"tests/unit/{folder}/test_{name}.py", _KNOWN)
        for name in names.split()
    }


TARGETS: dict[str, tuple[str, ...]] = {
    **_all("kernel", "expr evaluate codec query", _KERNEL),
    **_all("kernel", "system", (*_KERNEL, "tests/unit/engines/test_enumerate.py")),
    **_all("kernel", "asking patterns", _ASKING),
    **_all("kernel", "observe requirement", _OBSERVERS),
    **_all("kernel", "witness", ("tests/unit/kernel", "tests/contract/test_stay.py")),
    **_all("engines", "reference_legs", _LEGS),
    **_all("engines/enumerate", "legs legs_text along", _ENUMERATED_LEGS),
    **_all("engines/enumerate", "kept_steps keeping", ("tests/agree/test_kept_steps_agree.py",)),
    **_all(
        "engines/enumerate",
        "longest longest_text",
        ("tests/agree/test_longest_ways_agree.py", "tests/contract/test_legs.py"),
    ),
    **_all(
        "engines/symbolic",
        "legs",
        (
            "tests/unit/engines/symbolic/test_legs.py",
            *_LEGS,
            "tests/agree/test_harm_agrees.py",
        ),
    ),
    **_all(
        "engines/symbolic",
        "settled",
        (
            "tests/unit/engines/symbolic/test_settling.py",
            "tests/agree/test_ways_back_agree.py",
            "tests/agree/test_harm_agrees.py",
        ),
    ),
    **_all("st", "lower lower_blocks lower_terms layout ranges counting", _LOWERING),
    **_all(
        "engines/enumerate",
        "engine space expansion traps loops components values lowering linking program runtime",
        _ENUMERATED,
    ),
    **_all(
        "engines/symbolic",
        "answering engine encoding moves paths loops settling following graph",
        _SYMBOLIC,
    ),
    **_all("engines/symbolic", "space", (*_SYMBOLIC, "tests/unit/engines/symbolic/test_space.py")),
    **_all(
        "engines/symbolic", "explored chaining", (*_SYMBOLIC, "tests/agree/test_harm_agrees.py")
    ),
    **_all("engines/symbolic", "cutsets", _CUT_SETS),
    **_all("independent_judge", "judge player machines values", _JUDGE),
    **_all("independent_judge", "trace", _TRACES),
    **_all("independent_judge", "turns", _TURNS),
    **_all("independent_judge", "clocks", _CLOCKS),
    **_all("independent_judge", "late", (*_LATE, *_DELAYS)),
    **_all("independent_judge", "effects", _DELAYS),
    **_all("model", "turns", _TURNS),
    **_all("model", "clocks", (*_CLOCKS, "tests/unit/commands/compare/test_in_time.py")),
    **_all("model", "old_values", (*_LATE, *_DELAYS)),
    **_all("model", "delayed_outputs", _DELAYS),
    **_all("model", "build", _MODELS),
    **_all("model", "fault fault_kinds faults", _FAULTS),
    **_all(
        "judgement",
        "fault_sets",
        ("tests/unit/judgement/test_fault_sets.py", "tests/unit/commands/faults/test_study.py"),
    ),
    **_all("judgement", "harm", ("tests/agree/test_harm_agrees.py",)),
    **_all("judgement", "detection", _TELLING),
    **_all("independent_judge", "telling", ("tests/unit/independent_judge/test_telling.py",)),
    **_all("judgement", "beside", ("tests/agree/test_beside_agrees.py", _STUDY)),
    **_all("engines/symbolic", "unflagged", ("tests/agree/test_unflagged_agrees.py",)),
    **_all("evidence", "obligations", ("tests/unit/evidence/test_obligations.py",)),
    **_all("evidence", "invariant_cases sets sexpr terms translate", _RECHECKED),
    **_all("evidence", "asked folder manifest script", _FOLDERS),
    **_all("kernel", "certificate", _CERTIFIED),
    **_all("engines/symbolic", "certify", (*_CERTIFIED, _CUT_SHORT)),
    **_all(
        "kernel",
        "lanes",
        ("tests/unit/kernel/test_lanes.py", "tests/agree/test_side_by_side_agrees.py"),
    ),
    **_all("kernel", "satisfy", ("tests/unit/kernel/test_satisfy.py",)),
    **_all("kernel", "kept", ("tests/contract/test_kept.py", "tests/contract/test_trap.py")),
    **_all("kernel", "projected", ("tests/contract/test_projected.py",)),
    **_all("engines/symbolic", "projection", ("tests/contract/test_projected.py", *_CUT_SETS)),
    **_all(
        "kernel", "varied", ("tests/contract/test_varied.py", "tests/agree/test_varied_agrees.py")
    ),
    **_all("kernel", "observe_time", (_TRACES_IN_TIME,)),
    **_all("engines", "reference reference_components", _CONTRACT),
    **_all(
        "engines/symbolic", "covers", ("tests/unit/engines/symbolic/test_covers.py", *_CUT_SETS)
    ),
    **_all(
        "engines/symbolic",
        "diagrams",
        ("tests/unit/engines/symbolic/test_diagrams.py", *_CUT_SETS, *_SYMBOLIC),
    ),
    **_all("engines/symbolic", "traps", (*_SYMBOLIC, "tests/agree/test_fault_sets_agree.py")),
    **_all("judgement", "answers verify", _JUDGED),
    **_all("judgement", "finding", (*_JUDGED, *_FEW_CLOCKS)),
    **_all("judgement", "margin", ("tests/unit/judgement/test_margin.py",)),
    **_all("judgement", "engines", ("tests/unit/judgement/test_engines.py", *_JUDGED)),
    **_all("judgement", "ledger", (*_JUDGED, "tests/unit/commands/verify/test_assume.py")),
    **_all("judgement", "few_clocks", _FEW_CLOCKS),
    **_all("model", "freed bound", _FEW_CLOCKS),
    **_all("judgement", "single_fault effects", _SINGLE),
    **_all(
        "judgement",
        "doubt",
        (
            "tests/unit/st/test_any_values.py",
            "tests/unit/st/test_programs_of_strangers.py",
            "tests/known/test_quantities.py",
        ),
    ),
    **_all("judgement", "effect_cells", ("tests/unit/model/test_effect_matrix.py",)),
    **_all("independent_judge", "behind happenings programs remembered", _PLAYED),
    **_all("independent_judge", "controllers", (*_AS_WRITTEN, *_PLAYED)),
    **_all("independent_judge", "moments story", _SHOWN),
    **_all("independent_judge", "run_file", _RUN_FILES),
    **_all(
        "independent_judge",
        "lockstep",
        ("tests/unit/judgement/test_no_false_verdict.py", _LOCKSTEP),
    ),
    **_all(
        "model",
        "between",
        ("tests/unit/model/test_turns.py", "tests/known/test_between_scans.py", *_READ),
    ),
    **_all("model", "inside names machines", (*_READ, *_INSIDE, *_PLAYED)),
    **_all(
        "model",
        "wiring",
        (
            *_INSIDE,
            *_SHORT,
            *_LATE,
            "tests/unit/commands/test_late_signals.py",
            "tests/unit/commands/test_delays.py",
            *_SEVERAL,
        ),
    ),
    **_all("model", "timing read_timing", _TIMED),
    **_all("model", "durations", (*_TIMED, "tests/unit/commands/rehearse/test_durations.py")),
    **_all("model", "exact_unit", _UNITS),
    **_all(
        "model", "reaction patterns", (*_READ, *_SHORT, "tests/unit/judgement/test_reaction.py")
    ),
    **_all("model", "read_ages read_delays lost_messages", (*_SHORT, *_LATE, *_READ)),
    **_all("model", "value_classes scaled free_inputs lowered", _CLASSES),
    **_all("model", "controller", _SEVERAL),
    **_all("model", "procedures", ("tests/unit/model/test_procedures.py", _REHEARSED)),
    **_all("model", "effect_matrix", ("tests/unit/model/test_effect_matrix.py",)),
    **_each("reliability", "category channel figures integrity_level performance_level subsystems"),
    **_all("reliability", "voting", ("tests/unit/reliability/test_voting.py", _KNOWN)),
    **_all("reliability", "pfhd table_k1", ("tests/unit/reliability/test_pfhd.py", _TABLE)),
    **_all("reliability", "tree_loader", ("tests/unit/reliability/test_tree_loader.py",)),
    **_all("reliability", "diagram fault_tree quantify", _TREES),
    **_all("commands/rating", "figures", ("tests/unit/commands/rating/test_figures.py",)),
}
