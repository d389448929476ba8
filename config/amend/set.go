package amend

import (
	"bytes"
	"strings"

	"go.yaml.in/yaml/v3"
)

func (m Map) flow() bool { return m.n.Style&yaml.FlowStyle != 0 }

// Set gives a key of the mapping another value, or adds the key.
func (m Map) Set(key, value string) {
	if _, v := find(m.n, key); v != nil {
		m.t.replace(v, value, m.flow())
		return
	}
	m.insert(key, value)
}

// replace puts a value in the place of another; comments within it are kept ahead of
// the line on which it begins.
func (t *Text) replace(v *yaml.Node, value string, inFlow bool) {
	from, to := t.offset(v), t.end(v, inFlow)
	if comments := comments(t.old[from:to]); len(comments) > 0 {
		start := t.starts[t.line(from)]
		indent := leading(t.old[start:])
		var b strings.Builder
		for _, c := range comments {
			b.WriteString(indent + c + t.eol)
		}
		t.edits = append(t.edits, edit{start, start, b.String()})
	}
	t.edits = append(t.edits, edit{from, to, value})
}

func leading(line []byte) string {
	return string(line[:len(line)-len(bytes.TrimLeft(line, " \t"))])
}

// comments are those that stand in a piece of text.
func comments(text []byte) []string {
	var list []string
	t := Text{old: text}
	for i := 0; i < len(text); i++ {
		switch c := text[i]; {
		case (c == '"' || c == '\'') && (i == 0 || strings.IndexByte(" \t\n[{,:", text[i-1]) >= 0):
			i = t.quoted(i) - 1
		case c == '#' && (i == 0 || strings.IndexByte(" \t\n", text[i-1]) >= 0):
			end := i
			for end < len(text) && text[end] != '\n' {
				end++
			}
			list = append(list, strings.TrimRight(string(text[i:end]), " \t\r"))
			i = end
		}
	}
	return list
}

// insert adds a key behind the last of the mapping.
func (m Map) insert(key, value string) {
	t := m.t
	if len(m.n.Content) == 0 {
		from := t.offset(m.n)
		t.edits = append(t.edits, edit{from, t.closing(from), "{" + t.key(key) + ": " + value + "}"})
		return
	}
	last := m.n.Content[len(m.n.Content)-1]
	if m.flow() {
		at := t.end(last, true)
		t.edits = append(t.edits, edit{at, at, ", " + t.key(key) + ": " + value})
		return
	}
	indent := strings.Repeat(" ", m.n.Content[0].Column-1)
	t.below(t.end(last, false), indent+key+": "+value)
}

// below adds lines under the one on which an offset is.
func (t *Text) below(offset int, lines ...string) {
	n := t.line(offset)
	text := strings.Join(lines, t.eol)
	if n+1 < len(t.starts) {
		at := t.starts[n+1]
		t.edits = append(t.edits, edit{at, at, text + t.eol})
		return
	}
	t.edits = append(t.edits, edit{len(t.old), len(t.old), t.eol + text})
}

// Remove takes a key out of the mapping. A comment on its line is kept.
func (m Map) Remove(key string) {
	t := m.t
	for i := 0; i+1 < len(m.n.Content); i += 2 {
		k, v := m.n.Content[i], m.n.Content[i+1]
		if k.Value != key {
			continue
		}
		from, to := t.offset(k), t.end(v, m.flow())
		switch first, last := i == 0, i+2 == len(m.n.Content); {
		case m.flow() && !last:
			to = t.offset(m.n.Content[i+2])
		case m.flow() && !first:
			from = t.end(m.n.Content[i-1], true)
		case !m.flow() && first && !last: // what follows moves up to the dash
			to = t.offset(m.n.Content[i+2])
		case !m.flow() && !first:
			start := t.starts[t.line(from)]
			next := len(t.old)
			if n := t.line(to) + 1; n < len(t.starts) {
				next = t.starts[n]
			}
			kept := ""
			for _, c := range comments(t.old[start:next]) {
				kept += leading(t.old[start:]) + c + t.eol
			}
			t.edits = append(t.edits, edit{start, next, kept})
			return
		}
		t.edits = append(t.edits, edit{from, to, ""})
		return
	}
}

// An Item of a list is a mapping on one line, and the item that it takes the place of
// in the list as it stands, counted from 0; -1: none.
type Item struct {
	Text string
	Was  int
}

// SetList gives a key a list of mappings. Comments of items that stay stand with
// them, those of others ahead of the first.
func (m Map) SetList(key string, items []Item) {
	t := m.t
	k, v := find(m.n, key)
	var texts []string
	for _, it := range items {
		texts = append(texts, it.Text)
	}
	oneLine := "[" + strings.Join(texts, ", ") + "]"
	block := v != nil && v.Kind == yaml.SequenceNode && v.Style&yaml.FlowStyle == 0 && len(v.Content) > 0
	switch {
	case v == nil && !m.flow() && len(m.n.Content) > 0:
		indent := strings.Repeat(" ", m.n.Content[0].Column-1)
		lines := []string{indent + key + ":"}
		for _, text := range texts {
			lines = append(lines, indent+"  - "+text)
		}
		t.below(t.end(m.n.Content[len(m.n.Content)-1], false), lines...)
	case v == nil || !block:
		m.Set(key, oneLine)
	default:
		t.blockList(k, v, items)
	}
}

func (t *Text) blockList(k, v *yaml.Node, items []Item) {
	// The items begin on the line behind the key, and end with the last one's line.
	first, last := t.line(t.offset(k))+1, t.line(t.end(v, false))
	indent := strings.Repeat(" ", v.Column-1)
	type old struct {
		ahead []string // comments on lines of their own
		tail  string
	}
	olds := make([]old, len(v.Content))
	n, pending := 0, []string{}
	starts := make([]int, len(v.Content))
	for i, it := range v.Content {
		starts[i] = t.line(t.offset(it))
	}
	for l := first; l <= last; l++ {
		end := len(t.old)
		if l+1 < len(t.starts) {
			end = t.starts[l+1]
		}
		text := t.old[t.starts[l]:end]
		if n < len(starts) && starts[n] == l {
			olds[n].ahead, pending = pending, nil
			n++
		}
		for _, c := range comments(text) {
			own := len(bytes.TrimSpace(text)) == len(c)
			switch {
			case own && n < len(starts) && n > 0 && l < starts[n] || n == 0:
				pending = append(pending, c)
			case own || olds[n-1].tail != "":
				olds[n-1].ahead = append(olds[n-1].ahead, c)
			default:
				olds[n-1].tail = "  " + c
			}
		}
	}
	kept := map[int]bool{}
	for _, it := range items {
		kept[it.Was] = true
	}
	var b strings.Builder
	for i, o := range olds { // of items that go
		if kept[i] {
			continue
		}
		for _, c := range append(o.ahead, strings.TrimSpace(o.tail)) {
			if c != "" {
				b.WriteString(indent + c + t.eol)
			}
		}
	}
	for _, it := range items {
		tail := ""
		if it.Was >= 0 {
			for _, c := range olds[it.Was].ahead {
				b.WriteString(indent + c + t.eol)
			}
			tail = olds[it.Was].tail
		}
		b.WriteString(indent + "- " + it.Text + tail + t.eol)
	}
	for _, c := range pending {
		b.WriteString(indent + c + t.eol)
	}
	to, text := len(t.old), b.String()
	if last+1 < len(t.starts) {
		to = t.starts[last+1]
	} else {
		text = strings.TrimSuffix(text, t.eol)
	}
	t.edits = append(t.edits, edit{t.starts[first], to, text})
}

// Append adds a mapping to a list of the plan, which is made when there is none.
func (t *Text) Append(key, item string) {
	_, v := find(t.root, key)
	switch {
	case v == nil || v.Kind != yaml.SequenceNode:
		t.Root().Set(key, "["+item+"]")
	case len(v.Content) == 0:
		t.replace(v, "["+item+"]", t.Root().flow())
	case v.Style&yaml.FlowStyle != 0:
		at := t.end(v.Content[len(v.Content)-1], true)
		t.edits = append(t.edits, edit{at, at, ", " + item})
	default:
		t.below(t.end(v, false), strings.Repeat(" ", v.Column-1)+"- "+item)
	}
}
