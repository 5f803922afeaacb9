package study_test

import (
	"fmt"
	"math"
	"math/rand/v2"

	"hawser/detect/mooring"
)

// A berth drawn by lot. Sizes run between those of an 80 m coaster and a 330 m
// crude carrier; how they follow her length is common practice, no source.
const (
	shortest, longest = 80.0, 330.0
)

func between(rng *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }

func chance(rng *rand.Rand, p float64) bool { return rng.Float64() < p }

// drawPlan is a ship at a berth, every line instrumented.
func drawPlan(rng *rand.Rand) *mooring.Plan {
	loa := between(rng, shortest, longest)
	size := (loa - shortest) / (longest - shortest)
	p := &mooring.Plan{
		Berth:      "study",
		HeadingDeg: math.Floor(360 * rng.Float64()),
		Limits:     mooring.DefaultLimits(),
		Ship: mooring.Ship{Name: "Drawn by Lot", LoaM: loa, BeamM: loa / between(rng, 5.5, 7),
			DisplacementT: between(rng, 0.006, 0.009) * loa * loa * loa,
			SideWindageM2: loa * (6.5 + 11*size) * between(rng, 0.8, 1.3)},
		Reference: mooring.Reference{DraftFwdM: 4 + 11*size, DraftAftM: 4.5 + 11*size, WaterLevelM: 2},
	}
	p.Ship.EndWindageM2 = 0.29 * p.Ship.SideWindageM2
	if chance(rng, 0.4) {
		p.Side = mooring.Port
	}
	for _, x := range []float64{-0.24, -0.1, 0.1, 0.24} {
		p.Fenders = append(p.Fenders, mooring.Fender{XM: x * loa, ZM: 3, StiffnessKNPerM: 900 + 6600*size})
	}
	drawLines(rng, p, size)
	return p
}

// pattern is how many lines go to head, breast and spring at each end.
var patterns = [][3]int{{2, 1, 1}, {2, 2, 1}, {2, 2, 2}, {3, 2, 2}, {3, 3, 2}, {4, 4, 2}, {4, 4, 4}}

func drawLines(rng *rand.Rand, p *mooring.Plan, size float64) {
	loa := p.Ship.LoaM
	n := patterns[min(len(patterns)-1, int(size*5+2.2*rng.Float64()))]
	proto := drawRope(rng, size)
	deck := 5.5 + 11*size
	away := -2.5 // hooks on the quay's edge
	if size > 0.25 {
		away = -between(rng, 25, 45) // on dolphins
	}
	hookZ := between(rng, 3.5, 8)
	add := func(g mooring.Group, k int, fx, fy, hx, hy, inboard float64) {
		l := proto
		l.ID = fmt.Sprint(len(p.Lines) + 1)
		l.Group = g
		gap := float64(k) * (1 + 2*size)
		sign := 1.0
		if fx < 0 {
			sign = -1
		}
		l.Fairlead = mooring.Point{X: fx - sign*gap, Y: fy + 0.5*float64(k), Z: deck}
		l.Hook = mooring.Point{X: hx - sign*gap*between(rng, 0.5, 1.5), Y: hy, Z: hookZ}
		l.InboardM = inboard * between(rng, 0.7, 1.4)
		l.PretensionKN *= between(rng, 0.9, 1.1)
		p.Lines = append(p.Lines, l)
	}
	inboard := 5 + 13*size
	for _, end := range []float64{1, -1} {
		g := [3]mooring.Group{mooring.Head, mooring.FwdBreast, mooring.FwdSpring}
		if end < 0 {
			g = [3]mooring.Group{mooring.Stern, mooring.AftBreast, mooring.AftSpring}
		}
		for k := range n[0] {
			add(g[0], k, end*0.47*loa, 4+6*size, end*(0.57+0.05*size)*loa, away, inboard)
		}
		for k := range n[1] {
			add(g[1], k, end*0.39*loa, 1, end*0.385*loa, away, inboard)
		}
		for k := range n[2] {
			add(g[2], k, end*0.32*loa, 0.4, end*0.06*loa, max(away, -6), inboard)
		}
	}
}

// drawRope is what all of a ship's lines are made of.
func drawRope(rng *rand.Rand, size float64) mooring.Line {
	fibre := []mooring.Material{mooring.Polyester, mooring.Polyamide, mooring.Polypropylene, mooring.Polyolefin, mooring.MixedFibre}
	stiff := []mooring.Material{mooring.SteelWire, mooring.HMPE, mooring.HMPE, mooring.Aramid}
	l := mooring.Line{DiameterMM: 40, MBLkN: math.Round((250 + 900*size) * between(rng, 0.85, 1.15)),
		MadeFast: mooring.Winch, Instrumented: true}
	if chance(rng, 0.15+0.7*size) {
		l.Material = stiff[rng.IntN(len(stiff))]
		l.PretensionKN = l.MBLkN * between(rng, 0.10, 0.15)
		if chance(rng, 0.7) {
			tail := []mooring.Material{mooring.Polyester, mooring.Polyamide}[rng.IntN(2)]
			l.Tail = &mooring.Tail{Material: tail, LengthM: []float64{11, 22}[rng.IntN(2)], DiameterMM: 70, MBLkN: 1.3 * l.MBLkN}
		}
	} else {
		l.Material = fibre[rng.IntN(len(fibre))]
		l.PretensionKN = l.MBLkN * between(rng, 0.06, 0.13)
	}
	if size < 0.2 && chance(rng, 0.7) {
		l.MadeFast = mooring.Bitts
	} else {
		l.BrakeRenderKN = 0.6 * l.MBLkN
	}
	return l
}

// astray is the ship as she is, where the plan says something else: lines up to
// 30 per cent stiffer or softer, each of itself and all together, fairleads
// half a metre off, her weight a fifth.
func astray(rng *rand.Rand, plan *mooring.Plan) *mooring.Plan {
	p := *plan
	p.Lines = append([]mooring.Line(nil), plan.Lines...)
	all := between(rng, 0.85, 1.15)
	for i := range p.Lines {
		l := &p.Lines[i]
		by := all * between(rng, 0.85, 1.15)
		l.MBLkN *= by
		if l.Tail != nil {
			tail := *l.Tail
			tail.MBLkN *= by
			l.Tail = &tail
		}
		l.Fairlead.X += between(rng, -0.5, 0.5)
		l.Fairlead.Y += between(rng, -0.3, 0.3)
	}
	p.Ship.DisplacementT *= between(rng, 0.8, 1.2)
	return &p
}

// otherwise is the ship with one make of rope where the plan says another: as
// stiff at a fifth of the plan's breaking load, but stiffening otherwise. What is
// said to stretch a little is not taken for what stretches much.
func otherwise(rng *rand.Rand, plan, ship *mooring.Plan) *mooring.Plan {
	makes := []mooring.Material{mooring.Polyester, mooring.Polyamide, mooring.Polypropylene, mooring.MixedFibre}
	switch plan.Lines[0].Material {
	case mooring.SteelWire, mooring.HMPE, mooring.Aramid:
		makes = []mooring.Material{mooring.SteelWire, mooring.HMPE, mooring.Aramid}
	}
	p := *ship
	p.Lines = append([]mooring.Line(nil), ship.Lines...)
	was := mooring.NewRig(&p)
	lengths := was.Pretensioned()
	made := makes[rng.IntN(len(makes))]
	for i := range p.Lines {
		l := &p.Lines[i]
		load := 0.2 * plan.Lines[i].MBLkN
		stiff := was.Law(i).StiffnessKNPerM(load, lengths[i])
		l.Material = made
		for range 20 { // a stronger rope of this make is a stiffer one
			law := mooring.NewLaw(&p, i)
			l.MBLkN *= math.Sqrt(stiff / law.StiffnessKNPerM(load, lengths[i]))
		}
	}
	return &p
}
