package mooring

import "math"

// Environment reckons what wind and current do to a plan's ship, by her own
// coefficients where the plan has them and the published forms for a ship nobody
// has tested where not. The zero value with a Plan is the ship at the plan's
// reference drafts. The estimates are steady and the ship's yaw is left out;
// shelter and funnelling by sheds, cranes and the next ship are too. The published
// forms are good to a quarter or so: common practice, no source.
type Environment struct {
	Plan *Plan
	// DraftM is her mean draft; 0 is the plan's reference. With less draft she
	// shows more side and end to the wind and less to the water.
	DraftM float64
	// DepthM is the depth of water at the berth, now; 0 is not known. Then it is
	// taken as 1.1 times the draft, common practice, no source: the current's force
	// grows as the keel nears the bottom, so that errs high for most berths.
	DepthM float64
}

// referenceDraftM is the mean draft for which the plan's areas hold.
func (p *Plan) referenceDraftM() float64 {
	return (p.Reference.DraftFwdM + p.Reference.DraftAftM) / 2
}

func (e *Environment) draftM() float64 {
	if e.DraftM > 0 {
		return e.DraftM
	}
	return e.Plan.referenceDraftM()
}

// onShip puts a force in the ship's own terms, ahead and to port in kN and the
// bow to port in kNm, into the plan's frame.
func (p *Plan) onShip(ahead, toPort, bowToPort float64) Force {
	if p.Side == Port {
		toPort, bowToPort = -toPort, -bowToPort
	}
	return Force{ahead, toPort, bowToPort}
}

// offBow is the angle off the bow, radians, 0 from ahead and positive from
// starboard, -Pi to Pi, of a flow that comes from this true bearing, degrees.
func (p *Plan) offBow(fromDeg float64) float64 {
	return math.Remainder(fromDeg-p.HeadingDeg, 360) * math.Pi / 180
}
