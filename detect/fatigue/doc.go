// Package fatigue counts the cycles of a load as they come and holds them against
// tension-tension curves. It is pure: no clock, no I/O, nothing of ours below it.
// Its invariant: however a history is chopped, and wherever its state was kept and
// taken up again, the counts are the same.
//
//	samples ─► Turning ─► Counter ─► Matrix of range and mean ─► Curve.Damage
//	           (gate)  └► Levels
//
// Cycles are those of rainflow counting by ASTM E1049-85 (2017), 5.4.4: three
// points at a time, half cycles where a range begins at the start of the history.
// What is not closed yet, the residue, is carried on and is counted as half cycles
// by whoever looks meanwhile.
//
// Loads and ranges have the unit of what is pushed in. For damage they are shares
// of the breaking load.
package fatigue
