package web

import (
	"embed"
	"encoding/json"
	"fmt"
	"net/http"
	"path"
	"strconv"
	"strings"
)

// Everything that a person reads is in words/, one file a language: sections of
// keys with their texts. {name} in a text is a place for a value; of a key with
// the endings .one and .other the count chooses.
//
//go:embed words/*.json
var wordFiles embed.FS

// homeLanguage is spoken to who asks for none that there is.
const homeLanguage = "en-GB"

// words is one language: texts by section and key.
type words struct {
	tag  string // BCP 47
	text map[string]map[string]string
}

// readWords reads every language.
func readWords() (map[string]*words, error) {
	files, err := wordFiles.ReadDir("words")
	if err != nil {
		return nil, err
	}
	all := map[string]*words{}
	for _, f := range files {
		data, err := wordFiles.ReadFile(path.Join("words", f.Name()))
		if err != nil {
			return nil, err
		}
		w := &words{tag: strings.TrimSuffix(f.Name(), ".json")}
		if err := json.Unmarshal(data, &w.text); err != nil {
			return nil, fmt.Errorf("words/%s: %w", f.Name(), err)
		}
		all[w.tag] = w
	}
	return all, nil
}

// say gives the text of section.key with names and values put in. A key that
// there is not is shown as it is: a test finds it first.
func (w *words) say(key string, with ...any) string {
	section, name, _ := strings.Cut(key, ".")
	text, ok := w.text[section][name]
	if !ok {
		return key
	}
	for i := 0; i+1 < len(with); i += 2 {
		text = strings.ReplaceAll(text, "{"+fmt.Sprint(with[i])+"}", fmt.Sprint(with[i+1]))
	}
	return text
}

// has reports whether there is a text.
func (w *words) has(key string) bool {
	section, name, _ := strings.Cut(key, ".")
	_, ok := w.text[section][name]
	return ok
}

// language chooses by ?lang=, cookie and Accept-Language, in this order.
func (s *Site) language(r *http.Request) string {
	asked := []string{r.URL.Query().Get("lang")}
	if c, err := r.Cookie("lang"); err == nil {
		asked = append(asked, c.Value)
	}
	asked = append(asked, accepted(r.Header.Get("Accept-Language"))...)
	for _, tag := range asked {
		if found := s.speaks(tag); found != "" {
			return found
		}
	}
	return homeLanguage
}

// speaks gives the language for a tag: its own, or another of the same tongue.
func (s *Site) speaks(tag string) string {
	tongue, _, _ := strings.Cut(strings.ToLower(tag), "-")
	for _, have := range s.languages {
		if strings.EqualFold(have, tag) {
			return have
		}
	}
	for _, have := range s.languages {
		if first, _, _ := strings.Cut(strings.ToLower(have), "-"); tongue != "" && first == tongue {
			return have
		}
	}
	return ""
}

// accepted gives the tags of an Accept-Language (RFC 9110, 12.5.4), most wanted
// first.
func accepted(header string) []string {
	type wish struct {
		tag    string
		weight float64
	}
	var wishes []wish
	for part := range strings.SplitSeq(header, ",") {
		tag, params, _ := strings.Cut(strings.TrimSpace(part), ";")
		w := wish{strings.TrimSpace(tag), 1}
		if q, ok := strings.CutPrefix(strings.TrimSpace(params), "q="); ok {
			w.weight, _ = strconv.ParseFloat(q, 64) // what is no number is not wanted
		}
		if w.tag == "" || w.weight <= 0 || len(wishes) == 20 {
			continue
		}
		i := len(wishes)
		for i > 0 && wishes[i-1].weight < w.weight {
			i--
		}
		wishes = append(wishes[:i], append([]wish{w}, wishes[i:]...)...)
	}
	tags := make([]string, len(wishes))
	for i, w := range wishes {
		tags[i] = w.tag
	}
	return tags
}
