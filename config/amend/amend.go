// Package amend changes keys in the text of a plan and leaves everything else as it
// stands: comments, order, anchors, spaces. It refuses to know what a plan means.
package amend

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
)

// A Text is a plan's text with the changes that were asked for.
type Text struct {
	old    []byte
	starts []int // of each line
	root   *yaml.Node
	json   bool
	eol    string
	edits  []edit
}

// An edit puts text in the place of what stands between two offsets.
type edit struct {
	from, to int
	text     string
}

// Parse reads a plan's text, which may be YAML or JSON.
func Parse(text []byte) (*Text, error) {
	t := &Text{old: text, starts: []int{0}, eol: "\n"}
	if bytes.Contains(text, []byte("\r\n")) {
		t.eol = "\r\n"
	}
	for i, c := range text {
		if c == '\n' {
			t.starts = append(t.starts, i+1)
		}
	}
	plain := text
	if trimmed := bytes.TrimLeft(text, " \t\r\n"); len(trimmed) > 0 && trimmed[0] == '{' {
		t.json = true
		plain = bytes.ReplaceAll(text, []byte("\t"), []byte(" ")) // JSON may, YAML may not; as wide
	}
	if bytes.ContainsAny(bytes.ReplaceAll(text, []byte("\r\n"), nil), "\r\u0085\u2028\u2029\ufeff") { // YAML 1.1 counts lines by these too
		return nil, errors.New("the plan has a byte order mark or ends lines in an unusual way; save it as plain UTF-8")
	}
	var doc yaml.Node
	if err := yaml.Unmarshal(plain, &doc); err != nil {
		return nil, fmt.Errorf("the plan's text: %w", err)
	}
	if len(doc.Content) == 0 || doc.Content[0].Kind != yaml.MappingNode {
		return nil, errors.New("the plan's text holds no keys")
	}
	t.root = doc.Content[0]
	return t, nil
}

// A Map is one mapping of the text.
type Map struct {
	t *Text
	n *yaml.Node
}

// Root is the whole plan.
func (t *Text) Root() Map { return Map{t, t.root} }

// Item is one mapping of the list under a key of the plan; false when it is none, or
// stands elsewhere in the text under an anchor.
func (t *Text) Item(key string, n int) (Map, bool) {
	_, list := find(t.root, key)
	if list == nil || list.Kind != yaml.SequenceNode || n >= len(list.Content) || list.Content[n].Kind != yaml.MappingNode {
		return Map{}, false
	}
	return Map{t, list.Content[n]}, true
}

func find(n *yaml.Node, key string) (k, v *yaml.Node) {
	for i := 0; i+1 < len(n.Content); i += 2 {
		if n.Content[i].Value == key && n.Content[i].Tag != "!!merge" {
			return n.Content[i], n.Content[i+1]
		}
	}
	return nil, nil
}

// Has reports whether a key stands in the mapping itself.
func (m Map) Has(key string) bool {
	k, _ := find(m.n, key)
	return k != nil
}

// offset is where a node begins; columns count characters.
func (t *Text) offset(n *yaml.Node) int {
	if n.Line < 1 || n.Line > len(t.starts) { // of nothing that stands there, such as an empty value
		return len(t.old)
	}
	at := t.starts[n.Line-1]
	for range n.Column - 1 {
		at += max(1, runeLength(t.old[min(at, len(t.old)):]))
	}
	return min(at, len(t.old))
}

func runeLength(b []byte) int {
	for i := 1; i < len(b); i++ {
		if b[i]&0xc0 != 0x80 {
			return i
		}
	}
	return len(b)
}

func (t *Text) line(offset int) int {
	n, exact := slices.BinarySearch(t.starts, offset)
	if exact {
		return n
	}
	return n - 1
}

// end is where a node ends, behind its last character.
func (t *Text) end(n *yaml.Node, inFlow bool) int {
	at := t.offset(n)
	flow := n.Style&yaml.FlowStyle != 0
	switch {
	case (n.Kind == yaml.MappingNode || n.Kind == yaml.SequenceNode) && (flow || len(n.Content) == 0):
		return t.closing(at)
	case n.Kind == yaml.MappingNode || n.Kind == yaml.SequenceNode:
		last := n.Content[len(n.Content)-1]
		return t.end(last, false)
	}
	for at < len(t.old) && (t.old[at] == '&' || t.old[at] == '!') { // an anchor or a tag ahead of it
		for at < len(t.old) && t.old[at] != ' ' && t.old[at] != '\n' {
			at++
		}
		for at < len(t.old) && t.old[at] == ' ' {
			at++
		}
	}
	if at < len(t.old) && (t.old[at] == '"' || t.old[at] == '\'') {
		return t.quoted(at)
	}
	end := at
	for end < len(t.old) && t.old[end] != '\n' {
		c := t.old[end]
		if inFlow && (c == ',' || c == '}' || c == ']') || c == '#' && end > at && (t.old[end-1] == ' ' || t.old[end-1] == '\t') {
			break
		}
		end++
	}
	return at + len(bytes.TrimRight(t.old[at:end], " \t\r"))
}

func (t *Text) quoted(at int) int {
	q := t.old[at]
	for i := at + 1; i < len(t.old); i++ {
		switch {
		case q == '"' && t.old[i] == '\\':
			i++
		case t.old[i] == q && q == '\'' && i+1 < len(t.old) && t.old[i+1] == q:
			i++
		case t.old[i] == q:
			return i + 1
		}
	}
	return len(t.old)
}

// closing is behind the bracket that closes the one at or behind an offset.
func (t *Text) closing(at int) int {
	depth := 0
	for i := at; i < len(t.old); i++ {
		switch c := t.old[i]; {
		case c == '{' || c == '[':
			depth++
		case c == '}' || c == ']':
			if depth--; depth == 0 {
				return i + 1
			}
		case (c == '"' || c == '\'') && strings.IndexByte(" \t\n[{,:", t.old[max(i-1, 0)]) >= 0:
			i = t.quoted(i) - 1
		case c == '#' && i > 0 && strings.IndexByte(" \t\n", t.old[i-1]) >= 0:
			for i < len(t.old) && t.old[i] != '\n' {
				i++
			}
		}
	}
	return len(t.old)
}

// Scalar writes a word or a number as it may stand in the text.
func (t *Text) Scalar(v any) string {
	switch v := v.(type) {
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64)
	case int:
		return strconv.Itoa(v)
	case string:
		if _, err := strconv.Atoi(v); err == nil && (v == "0" || v[0] != '0') { // a port or a pixel
			return v
		}
		if !t.json && bareWord.MatchString(v) && !special.MatchString(v) {
			return v
		}
		return strconv.Quote(v)
	}
	return fmt.Sprint(v)
}

var (
	bareWord = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_./+-]*( [A-Za-z0-9_./+-]+)*$`)
	special  = regexp.MustCompile(`^(?i:y|n|yes|no|on|off|true|false|null)$`)
)

// A Pair is a key with its value as text.
type Pair struct{ Key, Value string }

// Flow writes pairs on one line.
func (t *Text) Flow(pairs []Pair) string {
	var parts []string
	for _, p := range pairs {
		parts = append(parts, t.key(p.Key)+": "+p.Value)
	}
	return "{" + strings.Join(parts, ", ") + "}"
}

func (t *Text) key(key string) string {
	if t.json {
		return strconv.Quote(key)
	}
	return key
}

// Changed reports whether anything was asked for.
func (t *Text) Changed() bool { return len(t.edits) > 0 }

// Bytes is the text with its changes.
func (t *Text) Bytes() []byte {
	t.sort()
	var out []byte
	at := 0
	for _, e := range t.edits {
		out = append(append(out, t.old[at:e.from]...), e.text...)
		at = e.to
	}
	return append(out, t.old[at:]...)
}

// sort brings the changes into the order of the text. Where two meet, the one that
// was asked for first stands.
func (t *Text) sort() {
	defer func() {
		end := 0
		t.edits = slices.DeleteFunc(t.edits, func(e edit) bool {
			if e.from < end || e.to < e.from {
				return true
			}
			end = e.to
			return false
		})
	}()
	slices.SortStableFunc(t.edits, func(a, b edit) int { return cmp.Compare(a.from, b.from) })
}
