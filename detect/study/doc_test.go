// Package study_test studies detection on ships, weather and faults drawn by lot,
// none of which it was tuned on. What is true of a scene follows from the loads
// on board before any sensor, by the conditions' definitions, never from what the
// detectors make of the readings. The simulation shares our mechanics, so a study
// says how detection bears plans that err, coarse sensors and rough weather, and
// not whether the mechanics are right.
//
//	go test ./detect/study -v                                  the short set
//	go test ./detect/study -v -study.hours 200 -study.seed 7   at length
//	go test ./detect/study -v -study.quiet 500 -study.seed 7   long quiet runs
//	go test ./detect/study -v -study.each -study.kind gap -study.scene 1016000
//
//	lot ─► plan ─► plan astray ─► simulation ─► readings ─► detection ─► raises ─┐
//	                                  └──► loads as they were ─► truth ─────────► score
package study_test
