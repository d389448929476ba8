package amend

import (
	"bytes"
	"fmt"
	"strings"
)

// A block is lines that others take the place of.
type block struct {
	from, to int // lines of the old text, to exclusive
	lines    []string
}

// blocks are the changes by lines.
func (t *Text) blocks() []block {
	t.sort()
	var list []block
	for i := 0; i < len(t.edits); {
		first := t.line(t.edits[i].from)
		last := max(first, t.line(max(t.edits[i].to-1, t.edits[i].from)))
		if t.edits[i].to == t.edits[i].from && t.starts[first] == t.edits[i].from && strings.HasSuffix(t.edits[i].text, t.eol) {
			last = first - 1 // whole lines ahead of this one
		}
		k := i + 1
		for ; k < len(t.edits) && t.line(t.edits[k].from) <= last+1; k++ {
			last = max(last, t.line(t.edits[k].from), t.line(max(t.edits[k].to-1, t.edits[k].from)))
		}
		from, to := t.starts[first], len(t.old)
		if last+1 < len(t.starts) {
			to = t.starts[last+1]
		}
		var b strings.Builder
		at := from
		for _, e := range t.edits[i:k] {
			b.Write(t.old[at:e.from])
			b.WriteString(e.text)
			at = e.to
		}
		b.Write(t.old[at:max(to, at)])
		list = append(list, t.narrow(block{first, last + 1, split(b.String())}))
		i = k
	}
	return list
}

// narrow leaves out lines at either end that stay.
func (t *Text) narrow(b block) block {
	for b.from < b.to && len(b.lines) > 0 && t.text(b.from) == b.lines[0] {
		b.from, b.lines = b.from+1, b.lines[1:]
	}
	for b.from < b.to && len(b.lines) > 0 && t.text(b.to-1) == b.lines[len(b.lines)-1] {
		b.to, b.lines = b.to-1, b.lines[:len(b.lines)-1]
	}
	return b
}

func split(text string) []string {
	lines := strings.SplitAfter(text, "\n")
	if lines[len(lines)-1] == "" {
		lines = lines[:len(lines)-1]
	}
	return lines
}

func (t *Text) text(line int) string {
	end := len(t.old)
	if line+1 < len(t.starts) {
		end = t.starts[line+1]
	}
	return string(t.old[t.starts[line]:end])
}

// Diff writes the changes as a unified diff (POSIX diff -u) of a file of some name;
// nothing when there are none.
func (t *Text) Diff(name string) string {
	const context = 3
	count := len(t.starts)
	if bytes.HasSuffix(t.old, []byte("\n")) || len(t.old) == 0 {
		count--
	}
	blocks := t.blocks()
	var out strings.Builder
	shift := 0
	for i := 0; i < len(blocks); {
		k := i + 1
		for k < len(blocks) && blocks[k].from-blocks[k-1].to <= 2*context {
			k++
		}
		from, to := max(blocks[i].from-context, 0), min(blocks[k-1].to+context, count)
		var body strings.Builder
		removed, added := 0, 0
		write := func(mark, line string) {
			body.WriteString(mark + line)
			if !strings.HasSuffix(line, "\n") {
				body.WriteString("\n\\ No newline at end of file\n")
			}
		}
		at := from
		for _, b := range blocks[i:k] {
			for ; at < b.from; at++ {
				write(" ", t.text(at))
			}
			for ; at < b.to && at < count; at++ {
				write("-", t.text(at))
				removed++
			}
			for _, line := range b.lines {
				write("+", line)
				added++
			}
		}
		for ; at < to; at++ {
			write(" ", t.text(at))
		}
		if out.Len() == 0 {
			fmt.Fprintf(&out, "--- %s\n+++ %s\n", name, name)
		}
		fmt.Fprintf(&out, "@@ -%d,%d +%d,%d @@\n%s", from+1, to-from, from+1+shift, to-from-removed+added, body.String())
		shift += added - removed
		i = k
	}
	return out.String()
}
