package plans

import (
	"net/http"
	"time"

	"hawser/detect/mooring"
	"hawser/ingest/planfile"
)

// Geometry is a plan as what there is to draw of it, in the plan's frame: x along
// the berth toward the bow, y from the quay to the water, z up from chart datum;
// metres, kilonewtons, degrees. Keys are the plan file's where it has them.
type Geometry struct {
	Berth       string     `json:"berth"`
	Fingerprint string     `json:"plan,omitempty"`
	Since       *time.Time `json:"since,omitempty"` // the ship is there; of the plan in force
	Ship        struct {
		Name  string  `json:"name"`
		LoaM  float64 `json:"loa_m"`
		BeamM float64 `json:"beam_m"`
	} `json:"ship"`
	Centre     [2]float64 `json:"centre"` // amidships on her centre line
	Side       string     `json:"side"`
	HeadingDeg float64    `json:"berth_heading_deg"`
	Reference  struct {
		DraftFwdM   float64 `json:"draft_fwd_m"`
		DraftAftM   float64 `json:"draft_aft_m"`
		WaterLevelM float64 `json:"water_level_m"`
	} `json:"reference"`
	Tide    bool           `json:"tide"` // the water level is known ahead
	Fenders []fenderShape  `json:"fenders"`
	Lines   []LineGeometry `json:"lines"`
}

type fenderShape struct {
	XM float64 `json:"x_m"`
	ZM float64 `json:"z_m"`
}

// LineGeometry is a line, with the loads its conditions begin at.
type LineGeometry struct {
	ID            string     `json:"id"`
	Group         string     `json:"group"`
	Fairlead      [3]float64 `json:"fairlead"`
	Hook          [3]float64 `json:"hook"`
	LengthM       float64    `json:"length_m"` // fairlead to hook, at the plan's reference
	MadeFast      string     `json:"made_fast"`
	Instrumented  bool       `json:"instrumented"`
	MBLkN         float64    `json:"mbl_kN"`
	WorkingLoadKN float64    `json:"working_load_kN"`
	ApproachKN    float64    `json:"approach_kN"`
	SlackKN       float64    `json:"slack_kN"`
	PretensionKN  float64    `json:"pretension_kN"`
	BrakeRenderKN float64    `json:"brake_render_kN,omitempty"`
}

// Shape is the geometry of a plan.
func Shape(p *mooring.Plan) *Geometry {
	g := &Geometry{Berth: p.Berth, Side: "starboard", HeadingDeg: p.HeadingDeg, Tide: p.Tide != nil, Fenders: []fenderShape{}}
	g.Ship.Name, g.Ship.LoaM, g.Ship.BeamM = p.Ship.Name, p.Ship.LoaM, p.Ship.BeamM
	g.Centre[0], g.Centre[1] = p.Centre()
	if p.Side == mooring.Port {
		g.Side = "port"
	}
	g.Reference.DraftFwdM, g.Reference.DraftAftM, g.Reference.WaterLevelM = p.Reference.DraftFwdM, p.Reference.DraftAftM, p.Reference.WaterLevelM
	for _, f := range p.Fenders {
		g.Fenders = append(g.Fenders, fenderShape{f.XM, f.ZM})
	}
	rig := mooring.NewRig(p)
	for i := range p.Lines {
		l := &p.Lines[i]
		span := rig.Span(i, mooring.Pose{})
		g.Lines = append(g.Lines, LineGeometry{
			ID: l.ID, Group: l.Group.String(), Fairlead: point(l.Fairlead), Hook: point(l.Hook), LengthM: span.LengthM,
			MadeFast: l.MadeFast.String(), Instrumented: l.Instrumented,
			MBLkN: l.MBLkN, WorkingLoadKN: p.WorkingLoadKN(i), ApproachKN: p.Limits.ApproachFraction * p.WorkingLoadKN(i),
			SlackKN: float64(p.Limits.SlackFraction) * l.MBLkN, PretensionKN: l.PretensionKN, BrakeRenderKN: l.BrakeRenderKN,
		})
	}
	return g
}

func point(p mooring.Point) [3]float64 { return [3]float64{p.X, p.Y, p.Z} }

// plan answers with a plan's geometry.
func (d *Desk) plan(w http.ResponseWriter, r *http.Request) {
	m, fingerprint, ok := d.entry(w, r)
	if !ok {
		return
	}
	p, err := planfile.FromProto(m)
	if err != nil {
		d.failed(w, r, m.GetBerth(), err)
		return
	}
	g := Shape(p)
	g.Fingerprint = fingerprint
	if now, ok := d.o.Book.Current(p.Berth); ok && now.Fingerprint == fingerprint {
		g.Since = &now.Since
	}
	answer(w, http.StatusOK, g)
}

// text answers with a plan as it is written. Comments and anchors of the file it
// came from are not on record.
func (d *Desk) text(w http.ResponseWriter, r *http.Request) {
	m, fingerprint, ok := d.entry(w, r)
	if !ok {
		return
	}
	data, err := planfile.Marshal(m)
	if err != nil {
		d.failed(w, r, m.GetBerth(), err)
		return
	}
	w.Header().Set("Content-Type", "application/yaml; charset=utf-8")
	w.Header().Set("ETag", `"`+fingerprint+`"`)
	_, _ = w.Write(data) // the reader may be gone
}
