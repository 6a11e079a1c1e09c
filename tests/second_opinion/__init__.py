"""A second opinion: what models mean, written a second time and by nothing but the documents.

It shares with the product only what reads a model folder. Behind that everything is small, slow
and explicit: states are tuples in a list, expressions are functions, requirements are judged by an
automaton over a finite graph. `tests.agree.test_second_opinion_agrees` compares the two.

expressions   typed expressions as functions of named values
blocks        the standard function blocks
program       one scan of a controller
world         states of a model, and what can happen in each
reached       everything reachable, with what follows what
watching      requirements as automata over a run
opinion       verdicts, vacuity, lengths and minimal sets of faults
announced     whether harm was told of before it
drawing       random model folders from a seed
drawing_st    their programs
drawing_asks  their requirements
met           what drawn models are made of, counted
compare       the two opinions side by side
at_rest       what can be seen in a yard, and sheets compared with it
performing    procedures performed in every way, and rehearsals compared with it
"""
