package planview

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
)

// rows is a spreadsheet on its way to a plan.
type rows struct {
	file     string
	columns  []column // by position
	cells    []row
	problems []config.Problem

	out   bytes.Buffer
	lines []config.Mark // of the cell behind each line of out
}

type row struct {
	texts  []string
	places []config.Mark
}

// A column becomes a key of what its row describes.
type column struct {
	name    string // as a head has it; "": no cell below it counts
	of      string // string, controller, supply, pitch or feed; note: a comment
	key     string
	decimal bool // a comma may stand for the point
}

// csvColumns are those a plan can be made from: every key of a string, a controller
// and a supply that has one value, and of a string's pitch and feeds.
func csvColumns() []column {
	var all []column
	add := func(of, prefix string, keys []*config.Key) {
		for _, k := range keys {
			if k.Kind != config.KeySection && k.Kind != config.KeyList && (k.Name != "name" || of == "string") {
				all = append(all, column{prefix + k.Name, of, k.Name, k.Kind == config.KeyNumber || k.Kind == config.KeyShare})
			}
		}
	}
	under := func(keys []*config.Key, name string) []*config.Key {
		return keys[slices.IndexFunc(keys, func(k *config.Key) bool { return k.Name == name })].Keys
	}
	plan := config.Keys()
	str := under(plan, "strings")
	add("string", "", str)
	add("controller", "controller_", under(plan, "controllers"))
	add("supply", "supply_", under(plan, "supplies"))
	add("pitch", "pitch_", under(str, "pitch"))
	add("feed", "feed_", under(str, "feeds"))
	return all
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
	in.Comma, in.FieldsPerRecord = separator(data), -1
	in.TrimLeadingSpace = in.Comma != '\t' // where it would trim empty cells
	for {
		texts, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if bad, ok := errors.AsType[*csv.ParseError](err); ok {
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
			if err := g.name(this); err != nil {
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
		return nil, fmt.Errorf("%s: there are no rows; the first line names the columns, such as name, universe and pixels; each further line is a string", file)
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

// name takes the heads of the columns. One that no plan has is told of and becomes
// comments.
func (g *rows) name(heads row) error {
	known := csvColumns()
	var names []string
	for _, c := range known {
		names = append(names, c.name)
	}
	for i, text := range heads.texts {
		name := strings.ReplaceAll(strings.ToLower(text), " ", "_")
		switch { // the short names of two that a table of strings often has
		case name == "feeds":
			name = "feed_at"
		case name == "address" || name == "ip" || name == "ip_address":
			name = "controller_address"
		default:
			name = config.Meant(name, names)
		}
		at := heads.places[i]
		c := column{name: text, of: "note", key: strings.Map(printable, text)}
		if k := slices.Index(names, name); k >= 0 {
			c = known[k]
		} else if text != "" {
			fix := "leave it, or name it as a key of a plan is named"
			switch {
			case config.Nearest(name, names) != "":
				fix = config.Suggest(name, names)
			case strings.Contains(name, "wire") || strings.Contains(name, "cable"):
				fix = "leave it, or say which wire: pitch_awg is between the pixels, feed_awg and feed_metres lead to a feed"
			}
			g.problems = append(g.problems, config.Problem{
				Severity: config.Warning, Where: g.at(at), What: fmt.Sprintf("no plan has a column %q: it was kept as comments", text),
				Fix: fix,
			})
		}
		if text != "" && slices.ContainsFunc(g.columns, func(other column) bool { return other.name == c.name }) {
			return g.errorf(at, "there are two columns %q; keep one", c.name)
		}
		g.columns = append(g.columns, c)
	}
	for _, needed := range []string{"name", "universe", "pixels"} {
		if !slices.ContainsFunc(g.columns, func(c column) bool { return c.name == needed }) {
			return g.errorf(config.Mark{Line: 1, Column: 1}, "the column %q is missing; every string needs it", needed)
		}
	}
	return nil
}

// printable keeps a comment on its line.
func printable(r rune) rune {
	if r < ' ' || r == 0x7f || r == 0x85 || r == 0x2028 || r == 0x2029 || r == 0xfeff {
		return ' '
	}
	return r
}
