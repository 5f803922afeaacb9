package web

// page is a page that shows the live picture: a bundle of app/ in the common
// shell. Its name is that of its entry in app/, of its section of the words and of
// its link.
type page struct {
	name    string
	pattern string // of http.ServeMux
	path    string // that links lead to; of a berth's page without the berth
	ofBerth bool   // its pattern ends in {berth}
	fresh   bool   // the berth need not be there yet
	kept    bool   // by the device, with a worker, and opens without a link; ?berth= for one
	words   []string
	calls   []string // of its controls, about its berth, that not everybody may make who sees it
}

// livePages are the pages, in the order of their links. Each needs a rule in
// services/access.
func livePages() []page {
	return []page{
		{name: "terminal", pattern: "GET /{$}", path: "/"},
		{name: "berth", pattern: "GET /berth/{berth}", path: "/berth/", ofBerth: true, words: []string{"drawing"}},
		{name: "plan", pattern: "GET /plan/{berth}", path: "/plan/", ofBerth: true, fresh: true, words: []string{"drawing"}, calls: []string{"PUT /api/plan"}},
		{name: "deck", pattern: "GET /deck", path: "/deck", kept: true},
		{name: "engineer", pattern: "GET /engineer", path: "/engineer"},
	}
}

// sharedWords are the sections that every page's script has beside its own.
func sharedWords() []string { return []string{"shell", "alarm", "mooring", "time"} }
