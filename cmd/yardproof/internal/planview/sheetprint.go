package planview

import (
	"bytes"
	"cmp"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"

	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config/protection"
)

func (s *sheet) csv(out io.Writer) error {
	w := textout.NewCSV(out)
	w.Row("controller", "port", "string", "for", "setting", "plan", "as_found")
	for _, b := range s.Blocks {
		for _, g := range b.Groups {
			for _, set := range g.List {
				w.Row(s.Controller, b.Port, b.String, g.For, set.What, set.Planned, "")
			}
		}
	}
	return w.Flush()
}

func (s *sheet) text(out io.Writer) error {
	var b bytes.Buffer
	fmt.Fprintf(&b, "%s\nSettings of controller %s\n", s.Plan, s.Controller)
	for _, block := range s.Blocks {
		fmt.Fprintf(&b, "\n%s\n", block.Title)
		t := textout.NewTable("  setting", "plan", "as found")
		for _, g := range block.Groups {
			if len(g.List) > 0 {
				t.Add("  "+g.For, "", "")
			}
			for _, set := range g.List {
				t.Add("    "+set.What, set.Planned, "____________")
			}
		}
		t.Print(&b)
	}
	if len(s.Labels) > 0 {
		b.WriteString("\nLabels for the pigtails\n")
		for _, l := range s.Labels {
			parts := append([]string{s.Controller + " " + l.Port, l.Name}, l.Lines...)
			if l.Tag != "" {
				parts = append(parts, "tag "+l.Tag)
			}
			fmt.Fprintf(&b, "  [ %s ]\n", strings.Join(parts, " | "))
		}
	}
	for _, list := range s.InFault() {
		if len(list.Findings) > 0 {
			fmt.Fprintf(&b, "\n%s\n", list.Title)
		}
		for _, f := range list.Findings {
			if f.String != "" {
				fmt.Fprintf(&b, "  %s: %s\n", f.String, f.Ladder())
			} else {
				fmt.Fprintf(&b, "  %s\n", f.Ladder())
			}
		}
	}
	b.WriteString("\nCorrect the colour order in one place only: on the port or in the plan.\n\nCautions\n")
	for _, c := range s.Cautions {
		fmt.Fprintf(&b, "  %s\n", c)
	}
	_, err := out.Write(b.Bytes())
	return err
}

// portTable has a row for each string and a column for each setting that differs.
type portTable struct {
	Heads []string
	Rows  []portRow
}

type portRow struct {
	Port, Name, Tag string
	Cells           []string
}

// mostHeads is how many settings stand beside each other on a page.
const mostHeads = 7

// tabulate makes one table of the blocks of the ports, so that a controller with many
// fits on a page: when they differ in little.
func (s *sheet) tabulate() {
	var heads []string
	var rows []portRow
	for _, b := range s.Blocks {
		if b.String == "" {
			continue
		}
		values := map[string]string{}
		for _, g := range b.Groups {
			for _, set := range g.List {
				if !slices.Contains(heads, set.What) {
					heads = append(heads, set.What)
				}
				values[set.What] = cmp.Or(set.Brief, set.Planned)
			}
		}
		row := portRow{Port: textout.Dash(b.Port), Name: b.String, Tag: b.Tag}
		for _, h := range heads {
			row.Cells = append(row.Cells, values[h])
		}
		rows = append(rows, row)
	}
	if len(rows) < 2 || len(heads) > mostHeads {
		return
	}
	for i := range rows { // those before a head came up lack its cell
		rows[i].Cells = append(rows[i].Cells, make([]string, len(heads)-len(rows[i].Cells))...)
	}
	s.Ports = portTable{heads, rows}
	s.Blocks = slices.DeleteFunc(s.Blocks, func(b sheetBlock) bool { return b.String != "" })
}

// inFault is findings under a title.
type inFault struct {
	Title    string
	Findings []protection.Finding
}

// InFault is what the strings of the sheet do in a fault. Whoever opens a return on the ladder
// makes the first of two faults.
func (s *sheet) InFault() []inFault {
	return []inFault{
		{"In a fault (have it put right by a licensed person before the string is lit)", s.Faults},
		{"While a return or a fuse is open (switch the supply off before you open either)", s.Twice},
	}
}

//go:embed sheet.html
var sheetText string

var sheetPage = template.Must(template.New("sheet").Parse(sheetText))
