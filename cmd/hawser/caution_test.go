package main

import (
	"encoding/json"
	"os"
	"strings"
	"testing"

	"hawser/services/caution"
)

// What cannot take the caution from its one source has it in the same words: the help,
// the pages in English, the first page of the project.
func TestCautionInTheSameWords(t *testing.T) {
	words := map[string]map[string]string{}
	data, err := os.ReadFile("../../services/web/words/en-GB.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, &words); err != nil {
		t.Fatal(err)
	}
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	plain := strings.NewReplacer("\n>", " ", "*", "")
	_, quoted, _ := strings.Cut(string(readme), "\n> ")
	for where, text := range map[string]string{
		"help": cautions, "pages": words["shell"]["caution"] + " " + words["shell"]["caution-more"],
		"README": plain.Replace(quoted[:len(caution.Full)+20]),
	} {
		if text = strings.Join(strings.Fields(text), " "); !strings.HasPrefix(text, caution.Full) {
			t.Errorf("%s: %q, want %q", where, text, caution.Full)
		}
	}
}
