package config

import (
	"encoding/binary"
	"slices"
	"strings"
	"testing"
	"unicode/utf16"
)

// TestEncodings reads one plan in every way in which an editor may have saved it. It
// is the same plan, or one problem says what is wrong with the text.
func TestEncodings(t *testing.T) {
	const text = "name: Quay\nstrings:\n  - {name: rail, universe: 1, pixels: 50}\n"
	wide := func(order binary.AppendByteOrder) string {
		b := order.AppendUint16(nil, 0xfeff)
		for _, u := range utf16.Encode([]rune(text)) {
			b = order.AppendUint16(b, u)
		}
		return string(b)
	}
	for _, c := range []struct {
		what, plan string
		refused    string // "": it is the plan
	}{
		{"as it is", text, ""},
		{"with a byte order mark", "\ufeff" + text, ""},
		{"with CR LF", strings.ReplaceAll(text, "\n", "\r\n"), ""},
		{"with CR", strings.ReplaceAll(text, "\n", "\r"), ""},
		{"without a last line break", strings.TrimSuffix(text, "\n"), ""},
		{"as JSON with a byte order mark", "\ufeff" + `{"name": "Quay", "strings": [{"name": "\ud83c\udf84", "universe": 1, "pixels": 50}]}`, ""}, // YAML has no such pairs
		{"as UTF-16, the small end first", wide(binary.LittleEndian), "UTF-8"},
		{"as UTF-16, the big end first", wide(binary.BigEndian), "UTF-8"},
		{"as Latin-1", strings.Replace(text, "Quay", "Qu\xe9", 1), "UTF-8"},
		{"as JSON in Latin-1", "{\"name\": \"Qu\xe9\", \"strings\": [{\"name\": \"rail\", \"universe\": 1, \"pixels\": 50}]}", "UTF-8"},
		{"with a NUL", strings.Replace(text, "Quay", "Qu\x00ay", 1), "UTF-8"},
		{"a key twice", text + "name: Pier\n", "twice"},
		{"a key twice in JSON", `{"name": "Quay", "name": "Pier", "strings": [{"name": "rail", "universe": 1, "pixels": 50}]}`, "twice"},
		{"a key in two cases", strings.Replace(text, "pixels: 50", "pixels: 50, Pixels: 60", 1), "Pixels"},
		{"a merge of itself", "strings:\n  - &a {<<: *a, name: rail, universe: 1, pixels: 50}\n", "nested"},
		{"a merge of lists of lists", text + "  - &a {name: gable, universe: 2, pixels: 50}\n  - {<<: [[*a]], name: roof, universe: 3, pixels: 50}\n", "merged"},
		{"a list within itself", "strings: &a [*a]\n", "nested"},
	} {
		p, problems := Load("p", strings.NewReader(c.plan))
		fatal := slices.ContainsFunc(problems, func(pr Problem) bool { return pr.Severity == Error })
		switch {
		case c.refused == "" && (fatal || p.Name != "Quay" || len(p.Strings) != 1 || p.Strings[0].Pixels != 50):
			t.Errorf("%s: %v", c.what, problems)
		case c.refused != "" && (!fatal || !strings.Contains(problems[0].String(), c.refused)):
			t.Errorf("%s: %v, want a problem with %q", c.what, problems, c.refused)
		}
	}
}
