package planview

import (
	"bytes"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"

	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/config"
)

// FromCSV prints the plan that the rows of a spreadsheet stand for, and returns it
// with what is wrong with it at the place of the cell.
func FromCSV(w io.Writer, file string, r io.Reader) (planfile.Checked, error) {
	g, err := readRows(file, r)
	if err != nil {
		return planfile.Checked{}, err
	}
	if err := g.plan(); err != nil {
		return planfile.Checked{}, err
	}
	if _, err := w.Write(g.out.Bytes()); err != nil {
		return planfile.Checked{}, err
	}
	c := planfile.Check(config.Load("", bytes.NewReader(g.out.Bytes())))
	for i := range c.Problems {
		c.Problems[i].Where = g.where(c.Problems[i].Where)
	}
	c.Problems = append(g.problems, c.Problems...)
	config.SortProblems(c.Problems)
	return c, nil
}

// each calls f for every cell of a row that has something, under a column of these.
func (g *rows) each(r row, of string, f func(column, string, config.Mark)) {
	for i, text := range r.texts {
		if i < len(g.columns) && g.columns[i].of == of && text != "" {
			f(g.columns[i], g.columns[i].value(text), r.places[i])
		}
	}
}

var decimalComma = regexp.MustCompile(`^[-+]?[0-9]+,[0-9]+\s*[^\s,;0-9]{0,4}$`)

// value is a cell as a plan has it.
func (c column) value(text string) string {
	if c.decimal && decimalComma.MatchString(text) {
		text = strings.Replace(text, ",", ".", 1)
	}
	return text
}

// put writes one line of the plan and remembers which cell it came from.
func (g *rows) put(at config.Mark, format string, args ...any) {
	fmt.Fprintf(&g.out, format+"\n", args...)
	g.lines = append(g.lines, at)
}

// top is where lines come from that no cell stands for.
var top = config.Mark{Line: 1, Column: 1}

func (g *rows) plan() error {
	if err := g.section("controllers", "controller"); err != nil {
		return err
	}
	if err := g.section("supplies", "supply"); err != nil {
		return err
	}
	g.put(top, "strings:")
	for _, r := range g.cells {
		dash := "- "
		line := func(at config.Mark, format string, args ...any) {
			g.put(at, "  "+dash+format, args...)
			dash = "  "
		}
		g.each(r, "string", func(c column, text string, at config.Mark) { line(at, "%s: %s", c.key, yamlText(text)) })
		if dash == "- " {
			line(r.places[0], "{}") // nothing but notes, or what belongs to others
			continue
		}
		head := "pitch:"
		g.each(r, "pitch", func(c column, text string, at config.Mark) {
			if head != "" {
				line(at, "%s", head)
				head = ""
			}
			line(at, "  %s: %s", c.key, yamlText(text))
		})
		if err := g.feeds(r, line); err != nil {
			return err
		}
		g.each(r, "note", func(c column, text string, at config.Mark) {
			line(at, "# %s: %s", c.key, strings.Map(printable, text))
		})
	}
	return nil
}

// feeds writes the feeds of a row: one for each place in feed_at, start without it.
// The other columns have one value for all of them or one for each, with a slash
// between.
func (g *rows) feeds(r row, line func(config.Mark, string, ...any)) (err error) {
	places, first := []string{"start"}, true
	g.each(r, "feed", func(c column, text string, _ config.Mark) {
		if c.key == "at" {
			places = split(text)
		}
	})
	for i := range places {
		dash := "- "
		g.each(r, "feed", func(c column, text string, at config.Mark) {
			values := split(text)
			if len(values) != 1 && len(values) != len(places) {
				err = g.errorf(at, "%s has %d values and the string %d feeds; give one for each feed or one for all, with / between", c.name, len(values), len(places))
				return
			}
			if first {
				line(at, "feeds:")
				first = false
			}
			line(at, "  %s%s: %s", dash, c.key, yamlText(c.value(values[min(i, len(values)-1)])))
			dash = "  "
		})
	}
	return err
}

// split takes a cell of several values apart: start / 50 / end.
func split(text string) []string {
	parts := strings.FieldsFunc(text, func(r rune) bool { return r == '/' || r == ';' || r == '+' })
	for i := range parts {
		parts[i] = strings.TrimSpace(parts[i])
	}
	if len(parts) == 0 {
		return []string{text}
	}
	return parts
}

// section writes the controllers or supplies that the rows name, each once with
// what the rows say of it: the first that says a thing, and the others the same.
func (g *rows) section(key, of string) (err error) {
	type entry struct {
		name string
		at   config.Mark
		said map[string]string
		keys []func()
	}
	byName := map[string]*entry{}
	var entries []*entry
	for _, r := range g.cells {
		var e *entry
		g.each(r, "string", func(c column, name string, at config.Mark) {
			if c.key != of {
				return
			}
			if e = byName[name]; e == nil {
				e = &entry{name: name, at: at, said: map[string]string{}}
				byName[name] = e
				entries = append(entries, e)
			}
		})
		g.each(r, of, func(c column, text string, at config.Mark) {
			switch {
			case err != nil:
			case e == nil:
				err = g.errorf(at, "%s %q belongs to a %s, and this row names none; fill in the column %s", c.name, text, of, of)
			case e.said[c.key] == "":
				e.said[c.key] = text
				e.keys = append(e.keys, func() { g.put(at, "    %s: %s", c.key, yamlText(text)) })
			case e.said[c.key] != text:
				err = g.errorf(at, "%s %s has %s %q here and %q above; correct one of the two", of, e.name, c.name, text, e.said[c.key])
			}
		})
	}
	if len(entries) > 0 {
		g.put(top, "%s:", key)
	}
	for _, e := range entries {
		g.put(e.at, "  - name: %s", yamlText(e.name))
		for _, put := range e.keys {
			put()
		}
	}
	return err
}

// at is a place in the rows.
func (g *rows) at(m config.Mark) config.Place { return config.Place{File: g.file, Mark: m} }

// where turns a place in the plan into that of the cell it came from.
func (g *rows) where(inPlan config.Place) config.Place {
	at := config.Place{File: g.file}
	if n := int(inPlan.Line); n >= 1 && n <= len(g.lines) {
		at.Mark = g.lines[n-1]
	}
	return at
}

// errorf is what is wrong at a place.
func (g *rows) errorf(at config.Mark, format string, args ...any) error {
	return fmt.Errorf("%v: %w", g.at(at), fmt.Errorf(format, args...))
}

// yamlText quotes text unless every reader of YAML takes it for what it says.
func yamlText(s string) string {
	safe := s != "" && strings.IndexFunc(s, func(r rune) bool {
		return (r < '0' || r > '9') && (r < 'a' || r > 'z') && (r < 'A' || r > 'Z') && r != '.' && r != '_' && r != '-' && r != ' '
	}) < 0
	switch strings.ToLower(s) {
	case "true", "false", "yes", "no", "on", "off", "y", "n", "null", "-", ".":
		safe = false
	}
	if safe && s[0] != '-' && s[0] != '.' && s[len(s)-1] != ' ' {
		return s
	}
	return strconv.Quote(s)
}
