package main

import (
	"maps"
	"net/http"

	"hawser/ingest/store/query"
	"hawser/ingest/store/tsdb"
	"hawser/services/history"
)

// openQueries adds the routes of the query language over the embedded store.
func (s *station) openQueries(routes map[string]http.Handler, who history.Access) error {
	db, ok := s.store.(*tsdb.Store)
	if !ok {
		return nil
	}
	look := tsdb.MetricOptions{Group: s.groupOf}
	if who != nil {
		look.Sees = who.Sees
	}
	o := query.Options{Source: db.Queryable(look), Log: s.log}
	for _, m := range tsdb.Metrics() {
		o.Metadata = append(o.Metadata, query.Metadata{Name: m.Name, Unit: m.Unit, Help: m.Help})
	}
	api, err := query.New(o)
	if err != nil {
		return err
	}
	s.onClose("queries", api.Close)
	maps.Copy(routes, api.Routes())
	return nil
}

// groupOf is the group of a line by the plan in force at a berth, "" where neither
// has it.
func (s *station) groupOf(berth, line string) string {
	e, ok := s.book.Current(berth)
	if !ok {
		return ""
	}
	for i := range e.Plan.Lines {
		if l := &e.Plan.Lines[i]; l.ID == line {
			return l.Group.String()
		}
	}
	return ""
}
