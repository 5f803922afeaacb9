package plans

import (
	"net/http"
	"slices"

	"hawser/ingest/planbook"
)

// versions answers with the times at which a berth was put under a plan, as far as
// the caller may see them.
func (d *Desk) versions(w http.ResponseWriter, r *http.Request) {
	berth := r.URL.Query().Get("berth")
	now, known := d.o.Book.Current(berth)
	if !known || !d.sees(r, berth, now.Plan.Ship.Name) {
		http.Error(w, "berth "+berth+": not under any plan here", http.StatusNotFound)
		return
	}
	all, err := d.seen(r, berth)
	if err != nil {
		d.failed(w, r, berth, err)
		return
	}
	answer(w, http.StatusOK, struct {
		InForce  string             `json:"in_force"`
		Versions []planbook.Version `json:"versions"`
	}{now.Fingerprint, append([]planbook.Version{}, all...)})
}

// seen are the versions that the caller may see: a ship's crew those of their own
// ship, since she came.
func (d *Desk) seen(r *http.Request, berth string) ([]planbook.Version, error) {
	all, err := d.o.Book.Versions(r.Context(), berth)
	if err != nil || d.o.Access == nil {
		return all, err
	}
	since, ok := d.o.Access.Sees(r.Context(), berth)
	return slices.DeleteFunc(all, func(v planbook.Version) bool {
		return !ok || v.At.Before(since) || !d.sees(r, berth, v.Ship)
	}), nil
}

func (d *Desk) seesVersion(r *http.Request, berth, fingerprint string) bool {
	all, err := d.seen(r, berth)
	return err == nil && slices.ContainsFunc(all, func(v planbook.Version) bool { return v.Fingerprint == fingerprint })
}
