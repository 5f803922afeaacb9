package plans

import (
	"errors"
	"net/http"
	"strings"

	"hawser/ingest/planbook"
)

// longestName bounds a name that goes on record, in bytes.
const longestName = 120

// put puts a berth under the plan in a text.
//
// Readings that come in are bound to the plan in force by the names of its lines, so
// those of a line that the new plan does not have are refused from then on.
func (d *Desk) put(w http.ResponseWriter, r *http.Request) {
	by := strings.TrimSpace(r.URL.Query().Get("by"))
	if d.o.Access == nil && by == "" {
		http.Error(w, "by: a name is needed", http.StatusBadRequest)
		return
	}
	if d.o.Access != nil {
		by, _, _ = d.o.Access.Signed(r.Context(), by)
	}
	if len(by) > longestName {
		http.Error(w, "by: too long a name", http.StatusBadRequest)
		return
	}
	berth := r.URL.Query().Get("berth")
	if berth == "" {
		http.Error(w, "berth: must be given", http.StatusBadRequest)
		return
	}
	inPlaceOf := strings.Trim(r.Header.Get("If-Match"), `"`)
	if now, known := d.o.Book.Current(berth); known && inPlaceOf == "" {
		http.Error(w, "If-Match: must have the fingerprint of the plan in force, "+now.Fingerprint, http.StatusPreconditionRequired)
		return
	}
	f, m, ok := d.read(w, r)
	if !ok {
		return
	}
	if m == nil {
		answer(w, http.StatusUnprocessableEntity, f)
		return
	}
	e, err := d.o.Book.Put(r.Context(), m, planbook.Terms{Replace: true, InPlaceOf: inPlaceOf, By: by})
	switch {
	case errors.Is(err, planbook.ErrOtherPlan):
		http.Error(w, "berth "+berth+" has come under another plan meanwhile; compare with that one", http.StatusPreconditionFailed)
		return
	case errors.Is(err, planbook.ErrFull):
		http.Error(w, "berth "+berth+": "+err.Error(), http.StatusInsufficientStorage)
		return
	case err != nil:
		d.failed(w, r, berth, err)
		return
	}
	d.o.Log.Info("a plan was put in force", "berth", berth, "plan", e.Fingerprint, "by", by)
	if d.o.InForce != nil {
		d.o.InForce(e.Plan.Berth, e.Plan)
	}
	f.InForce = e.Fingerprint
	answer(w, http.StatusOK, f)
}
