package quality

// Rules are all the rules, for tests that hold each to have been tried.
func Rules() []Rule {
	var out []Rule
	for _, r := range rules() {
		out = append(out, r.Rule)
	}
	return out
}
