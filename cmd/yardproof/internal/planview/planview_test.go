package planview

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"os"
	"slices"
	"strings"
	"testing"

	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/config"
	"yardproof/patterns"
)

// TestProfileSVG checks that the drawing is well-formed XML whatever the string
// is called.
func TestProfileSVG(t *testing.T) {
	const text = "strings: [{name: '<b>&\"', universe: 1, pixels: 3000, volts: 12, amps_per_pixel: 0.0001, pitch: {awg: 18, millimetres: 100}}]"
	var b strings.Builder
	if err := New(planfile.Check(config.Load("p.yaml", strings.NewReader(text)))).Profile(&b, `<b>&"`, "svg"); err != nil {
		t.Fatal(err)
	}
	out := b.String()
	for d := xml.NewDecoder(strings.NewReader(out)); ; {
		_, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("%v in\n%s", err, out)
		}
	}
	if n := strings.Count(out, ","); n > 2000 {
		t.Errorf("3,000 pixels are drawn with %d points", n)
	}
}

// TestPicture checks that every pattern's picture of a string is well-formed and
// shows each pixel.
func TestPicture(t *testing.T) {
	v := New(planfile.Demo())
	for _, p := range patterns.All() {
		var out bytes.Buffer
		if err := v.Picture(&out, "quay-rail-west", p.Name); err != nil {
			t.Fatalf("%s: %v", p.Name, err)
		}
		circles := 0
		for d := xml.NewDecoder(&out); ; {
			token, err := d.Token()
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v", p.Name, err)
			}
			if e, ok := token.(xml.StartElement); ok && e.Name.Local == "circle" {
				circles++
			}
		}
		if circles == 0 || circles%120 != 0 {
			t.Errorf("%s: %d circles for 120 pixels", p.Name, circles)
		}
	}
}

func TestComparePorts(t *testing.T) {
	ports := []string{"10", "b", "3b", "", "2", "3a"}
	slices.SortFunc(ports, comparePorts)
	if got := strings.Join(ports, " "); got != " b 2 3a 3b 10" {
		t.Errorf("sorted as %q", got)
	}
}

// FuzzRows checks that any file of rows is refused or becomes a plan of one line
// for each cell, which loads without a syntax error.
func FuzzRows(f *testing.F) {
	rows, err := os.ReadFile("../../../../testdata/plans/rows.csv")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(rows)
	f.Add([]byte("name,universe,pixels\n\"a\nb\",1,50\n'=x,2,50\n\"é\"\"\\\",4,\x07\n- a,5,50\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		g, err := readRows("r", bytes.NewReader(data))
		if err != nil {
			return
		}
		g.plan()
		if n := bytes.Count(g.out.Bytes(), []byte("\n")); n != len(g.lines) {
			t.Fatalf("%d lines for %d cells:\n%s", n, len(g.lines), g.out.Bytes())
		}
		_, problems := config.Load("", bytes.NewReader(g.out.Bytes()))
		for _, p := range problems {
			if strings.Contains(p.What, "is not YAML") || strings.Contains(p.What, "is not UTF-8") {
				t.Fatalf("%v in\n%s", p, g.out.Bytes())
			}
			if where := g.where(p.Where); where.File != g.file {
				t.Errorf("%s became %s", p.Where, where)
			}
		}
	})
}
