package planview

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
)

// The columns of a spreadsheet that become a plan. Each has the name of a
// string's key; the last ones describe the controller or supply of their row.
var (
	stringColumns = []string{"name", "label", "controller", "port", "receiver", "output", "universe", "channel", "pixels", "null_pixels",
		"order", "chip", "volts", "amps_per_pixel", "supply", "fuse_amps"}
	otherColumns = []string{"address", "supply_volts", "supply_watts"}
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
	return c, nil
}

// rows is a spreadsheet on its way to a plan.
type rows struct {
	file    string
	columns []string // by position
	cells   []row

	out   bytes.Buffer
	lines []config.Mark // of the cell behind each line of out
}

type row struct {
	texts  []string
	places []config.Mark
}

// readRows reads a file with a line of column names. Cells are separated by
// commas, semicolons or tabs, whichever the first line has most of.
func readRows(file string, r io.Reader) (*rows, error) {
	const most = 16 << 20
	data, err := io.ReadAll(io.LimitReader(r, most+1))
	if err != nil {
		return nil, fmt.Errorf("reading the rows: %w", err)
	}
	if len(data) > most {
		return nil, fmt.Errorf("%s: the file is longer than %d MiB; split it", file, most>>20)
	}
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	g := &rows{file: file}
	in := csv.NewReader(bytes.NewReader(data))
	in.Comma, in.TrimLeadingSpace, in.FieldsPerRecord = separator(data), true, -1
	for {
		texts, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		var bad *csv.ParseError
		if errors.As(err, &bad) {
			return nil, fmt.Errorf("%s:%d:%d: %w; look for a quote that is not closed", file, bad.Line, bad.Column, bad.Err)
		}
		if err != nil {
			return nil, fmt.Errorf("reading the rows: %w", err)
		}
		this := row{texts: texts, places: make([]config.Mark, len(texts))}
		for i := range texts {
			line, column := in.FieldPos(i)
			this.places[i] = config.Mark{Line: int32(line), Column: int32(column)}
			texts[i] = textout.Cell(texts[i])
		}
		if g.columns == nil {
			if g.columns, err = columnNames(file, this); err != nil {
				return nil, err
			}
			continue
		}
		if len(texts) > len(g.columns) && strings.Join(texts[len(g.columns):], "") != "" {
			at := this.places[len(g.columns)]
			return nil, g.errorf(at, "this cell has no column name above it; remove it or name the column")
		}
		if strings.Join(texts, "") != "" {
			g.cells = append(g.cells, this)
		}
	}
	if len(g.cells) == 0 {
		return nil, fmt.Errorf("%s: there are no rows; the first line names the columns (%s), each further line is a string", file, strings.Join(stringColumns, ", "))
	}
	return g, nil
}

func separator(data []byte) rune {
	first, _, _ := bytes.Cut(data, []byte("\n"))
	best, most := ',', 0
	for _, c := range ",;\t" {
		if n := bytes.Count(first, []byte(string(c))); n > most {
			best, most = c, n
		}
	}
	return best
}

func columnNames(file string, heads row) ([]string, error) {
	names := make([]string, len(heads.texts))
	all := slices.Concat(stringColumns, otherColumns)
	for i, text := range heads.texts {
		name := strings.ReplaceAll(strings.ToLower(text), " ", "_")
		at := config.Place{File: file, Mark: heads.places[i]}
		switch {
		case name == "" && i == len(heads.texts)-1:
			continue
		case !slices.Contains(all, name):
			return nil, fmt.Errorf("%s: unknown column %q; the columns are %s", at, text, strings.Join(all, ", "))
		case slices.Contains(names[:i], name):
			return nil, fmt.Errorf("%s: there are two columns %q; keep one", at, text)
		}
		names[i] = name
	}
	for _, needed := range []string{"name", "universe", "pixels"} {
		if !slices.Contains(names, needed) {
			return nil, fmt.Errorf("%s:1:1: the column %q is missing; every string needs it", file, needed)
		}
	}
	return names, nil
}

// cell returns what stands in a row under a column, "" when nothing does.
func (g *rows) cell(r row, column string) (string, config.Mark) {
	i := slices.Index(g.columns, column)
	if i < 0 || i >= len(r.texts) {
		return "", r.places[0]
	}
	return r.texts[i], r.places[i]
}

// put writes one line of the plan and remembers which cell it came from.
func (g *rows) put(at config.Mark, format string, args ...any) {
	fmt.Fprintf(&g.out, format+"\n", args...)
	g.lines = append(g.lines, at)
}

func (g *rows) plan() error {
	if err := g.section("controllers", "controller", []string{"address"}, []string{"address"}); err != nil {
		return err
	}
	if err := g.section("supplies", "supply", []string{"supply_volts", "supply_watts"}, []string{"volts", "watts"}); err != nil {
		return err
	}
	g.put(config.Mark{Line: 1, Column: 1}, "strings:")
	for _, r := range g.cells {
		dash := "- "
		for _, column := range stringColumns {
			if text, at := g.cell(r, column); text != "" {
				g.put(at, "  %s%s: %s", dash, column, yamlText(text))
				dash = "  "
			}
		}
	}
	return nil
}

// section writes the controllers or supplies that the rows name, each once with
// what the rows say of it: the first that says a thing, and the others the same.
func (g *rows) section(key, column string, from, to []string) error {
	var names []string
	known := map[string]bool{}
	for _, r := range g.cells {
		name, _ := g.cell(r, column)
		for _, c := range from {
			if text, at := g.cell(r, c); name == "" && text != "" {
				return g.errorf(at, "%s %q belongs to a %s, and this row names none; fill in the column %s", c, text, column, column)
			}
		}
		if name != "" && !known[name] {
			known[name] = true
			names = append(names, name)
		}
	}
	if len(names) == 0 {
		return nil
	}
	g.put(config.Mark{Line: 1, Column: 1}, "%s:", key)
	for _, name := range names {
		first := true
		said := map[string]string{} // by column
		for _, r := range g.cells {
			this, at := g.cell(r, column)
			if this != name {
				continue
			}
			if first {
				g.put(at, "  - name: %s", yamlText(name))
				first = false
			}
			for i, c := range from {
				text, at := g.cell(r, c)
				switch before := said[c]; {
				case text == "" || text == before:
				case before != "":
					return g.errorf(at, "%s %s has %s %q here and %q above; correct one of the two", column, name, c, text, before)
				default:
					said[c] = text
					g.put(at, "    %s: %s", to[i], yamlText(text))
				}
			}
		}
	}
	return nil
}

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
	return fmt.Errorf("%v: %w", config.Place{File: g.file, Mark: at}, fmt.Errorf(format, args...))
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
