package web

// page is a page that shows the live picture: a bundle of app/ in the common
// shell. Its name is that of its entry in app/, of its section of the words and of
// its link.
type page struct {
	name    string
	pattern string // of http.ServeMux
	path    string // that links lead to
}

// livePages are the pages, in the order of their links. Each needs a rule in
// services/access.
func livePages() []page {
	return []page{
		{name: "terminal", pattern: "GET /{$}", path: "/"},
	}
}

// sharedWords are the sections that every page's script has beside its own.
func sharedWords() []string { return []string{"shell", "alarm", "mooring", "time"} }
