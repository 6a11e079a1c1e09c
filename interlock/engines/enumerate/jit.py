"""The door to llvmlite: text of LLVM IR goes in, callable functions come out."""

from __future__ import annotations

import ctypes
from functools import cache, lru_cache
from typing import Any

import llvmlite.binding as llvm

# Measured on generated controllers: straight-line expression code gains nothing from the IR
# passes that the loops of the runtime profit from, and costs several times the compilation.
CODE_LEVEL = 1
LOOP_LEVEL = 2
# For whoever asks the same system again, or from another state; a few hundred kB each.
_KEPT = 16


@cache
def _ready() -> None:
    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()


def _machine(level: int) -> Any:
    _ready()
    target = llvm.Target.from_default_triple()
    return target.create_target_machine(
        cpu=llvm.get_host_cpu_name(), features=llvm.get_host_cpu_features().flatten(), opt=level
    )


class Library:
    """Compiled functions; they live as long as this object does.

    Parameters
    ----------
    text : str
        LLVM IR of a whole module.
    optimised : bool
        Whether to run the passes that loops profit from.
    """

    def __init__(self, text: str, *, optimised: bool) -> None:
        level = LOOP_LEVEL if optimised else CODE_LEVEL
        machine = _machine(level)
        module = llvm.parse_assembly(text)
        if optimised:
            builder = llvm.create_pass_builder(machine, llvm.create_pipeline_tuning_options())
            passes = llvm.create_new_module_pass_manager()
            passes.add_sroa_pass()
            passes.add_new_gvn_pass()
            passes.add_instruction_combine_pass()
            passes.add_simplify_cfg_pass()
            passes.run(module, builder)
        self._engine = llvm.create_mcjit_compiler(module, machine)
        self._engine.finalize_object()

    def address(self, name: str) -> int:
        """Where a function starts."""
        return int(self._engine.get_function_address(name))

    def function(self, name: str, n_args: int) -> Any:
        """A function of `n_args` 64-bit words that returns one, as a Python callable."""
        prototype = ctypes.CFUNCTYPE(ctypes.c_uint64, *[ctypes.c_uint64] * n_args)
        return prototype(self.address(name))


@lru_cache(_KEPT)
def compiled(text: str) -> Library:
    """The straight-line code of a module; the last few are kept."""
    return Library(text, optimised=False)
