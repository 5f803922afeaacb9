package main

import (
	"errors"
	"fmt"
	"regexp"
	"strings"

	"go.yaml.in/yaml/v3"
)

// What the YAML library says of a setting, and what is said in its place: a name of a
// Go type helps nobody.
var (
	lineOfError    = regexp.MustCompile(`^(?:yaml: )?line (\d+): `)
	unknownSetting = regexp.MustCompile(`^field (\S+) not found in type \S+$`)
	wrongKind      = regexp.MustCompile("^cannot unmarshal !!(\\w+)(?: `(.*)`)? into (\\S+)$")
)

// mostSettingErrors is how many mistakes of one file are told.
const mostSettingErrors = 5

// settingsError tells what is wrong with a settings file, a line a mistake, each with
// its place.
func settingsError(path string, err error) error {
	all := []string{err.Error()}
	var several *yaml.TypeError
	if errors.As(err, &several) {
		all = several.Errors
	}
	var out []error
	for i, text := range all {
		if i == mostSettingErrors {
			out = append(out, fmt.Errorf("%s: and %d more", path, len(all)-i))
			break
		}
		place := path
		if m := lineOfError.FindStringSubmatch(text); m != nil {
			place, text = path+":"+m[1], text[len(m[0]):]
		}
		out = append(out, fmt.Errorf("%s: %s", place, settingWords(strings.TrimPrefix(text, "yaml: "))))
	}
	return errors.Join(out...)
}

func settingWords(text string) string {
	if m := unknownSetting.FindStringSubmatch(text); m != nil {
		return m[1] + ": unknown setting"
	}
	m := wrongKind.FindStringSubmatch(text)
	if m == nil {
		return text
	}
	found := map[string]string{"seq": "a list", "map": "a group of settings"}[m[1]]
	if found == "" {
		found = fmt.Sprintf("%q", m[2])
	}
	switch want := m[3]; {
	case want == "time.Duration":
		return "must be a time with its unit such as 8s or 720h, not " + found
	case strings.HasPrefix(want, "int"), strings.HasPrefix(want, "uint"), strings.HasPrefix(want, "float"):
		return "must be a number, not " + found
	case want == "bool":
		return "must be true or false, not " + found
	case want == "string":
		return "must be a text, not " + found
	case strings.HasPrefix(want, "[]"):
		return "must be a list, not " + found
	default:
		return "must be a group of settings, not " + found
	}
}
