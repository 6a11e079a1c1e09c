"""The frames of random projects: what they declare, with blanks for statements."""

from __future__ import annotations

TYPES = """TYPE
  Mode : (IDLE := 2, SLOW, FAST := 7) := SLOW;
  Small : INT (0..5) := 1;
  Pair : STRUCT n : Small; on : BOOL := TRUE; w : BYTE := 16#A5; END_STRUCT;
  Row : ARRAY [1..3] OF INT (-4..4);
END_TYPE
VAR_GLOBAL CONSTANT MUCH : INT := 2; END_VAR
VAR_GLOBAL g0 : Small := 3; gb : BOOL := FALSE; gm : Mode := FAST; END_VAR
VAR_GLOBAL at0 AT %MX1.0 : BOOL; given : BOOL; END_VAR
"""
FUNCTION = """FUNCTION gauge : INT
VAR_INPUT a : INT; x : BOOL; END_VAR
VAR_OUTPUT more : BOOL; END_VAR
VAR k : INT := 2; j : INT; brief : Tally := (n := 1); END_VAR
VAR_STAT kept : INT (0..3); END_VAR
{body}
END_FUNCTION
FUNCTION_BLOCK Tally
VAR_INPUT by : INT (0..3); END_VAR VAR_OUTPUT n : INT (-9..9); END_VAR VAR_IN_OUT at : INT; END_VAR
at := at + by; n := n + 1;
END_FUNCTION_BLOCK
FUNCTION nudge : BOOL
VAR_IN_OUT at : INT; END_VAR
VAR_INPUT by : INT := 1; END_VAR
at := at + by; nudge := at > 2;
END_FUNCTION
"""
BLOCK = """FUNCTION_BLOCK Base
VAR_INPUT on : BOOL; level : Small := 2; clock : BOOL R_EDGE; END_VAR
VAR_OUTPUT q : BOOL; n : INT (0..9); m : Mode; END_VAR
VAR_IN_OUT shared : INT; END_VAR
VAR t : TON; p : TP; rise : R_TRIG; up : CTU; kept : Pair; i, j : INT; END_VAR
VAR_TEMP tmp : INT := 4; END_VAR
VAR here AT %MX1.0 : BOOL; seen AT %IX0.1 : BOOL; own AT %I* : BOOL; shown AT %QX0.0 : BOOL; END_VAR
{body}
ACTION Step1: {action} END_ACTION
METHOD Twice : INT VAR_INPUT v : INT; END_VAR VAR l : INT := 1; END_VAR
VAR_STAT all : INT (0..3); END_VAR VAR_INST each : INT (0..3); END_VAR
{method}
END_METHOD
PROPERTY Level2 : INT GET Level2 := level + 1; END_GET SET level := Level2 - 1; END_SET END_PROPERTY
END_FUNCTION_BLOCK
FUNCTION_BLOCK Derived EXTENDS Base
VAR extra : BOOL; d : DINT; END_VAR
{before}
SUPER^();
{after}
METHOD Twice : INT VAR_INPUT v : INT; END_VAR Twice := {twice} + 1; END_METHOD
END_FUNCTION_BLOCK
"""
PROGRAM = """NAMESPACE Lib
CLASS Cup IMPLEMENTS Wet
VAR v : INT (0..3) := 2; END_VAR
METHOD PUBLIC Fill VAR_INPUT by : INT; END_VAR v := LIMIT(0, v + by, 3); END_METHOD
METHOD PUBLIC Dry : BOOL Dry := v = 0; END_METHOD
END_CLASS
INTERFACE Wet METHOD Dry : BOOL END_METHOD END_INTERFACE
END_NAMESPACE
PROGRAM main
VAR_INPUT b0, b1 : BOOL; n0 : INT (-3..4); e0 : Mode; w0 : BYTE; END_VAR
VAR_OUTPUT q0, q1 : BOOL := TRUE; k0 : INT (0..3); s0 : Mode; w1 : WORD; END_VAR
VAR RETAIN kept : Small; END_VAR
VAR one : Base; two : Derived := (level := 4); legs : ARRAY [0..1] OF Base; pair, other : Pair;
  row : Row := [1, 2(-1)]; grid : ARRAY [0..1, 0..1] OF BOOL; i, j, raw : INT;
  us : USINT; wide : DINT;
  span : TIME := T#150ms; t1 : TON; f1 : F_TRIG; sr1 : SR; down : CTD; x : REAL; y : LREAL;
  t2 : TOF; rs1 : RS; both : CTUD; cup : Lib.Cup; late : BOOL; nested : ARRAY [-1..1] OF Pair;
END_VAR
VAR_EXTERNAL g0 : Small; END_VAR
VAR lamp AT %QX0.0 : BOOL; also AT %IX0.1 : BOOL; END_VAR
{body}
END_PROGRAM
"""
