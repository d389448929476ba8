package config

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"testing/iotest"

	"yardproof/sacn/sacntest"
)

// TestBadPlans holds every message to its exact place and words.
func TestBadPlans(t *testing.T) {
	const file = "../testdata/plans/bad.txt"
	text := sacntest.Read(t, file)
	blocks := strings.Split(text, "\n== ")
	var out strings.Builder
	out.WriteString(blocks[0])
	for _, block := range blocks[1:] {
		title, rest, _ := strings.Cut(block, "\n")
		plan, _, ok := strings.Cut("\n"+rest, "\n--\n")
		if !ok {
			plan, ok = strings.CutSuffix("\n"+rest, "\n--")
		}
		if !ok {
			t.Fatalf("case %q has no line of --", title)
		}
		plan = strings.TrimPrefix(plan, "\n")
		p, problems := Load("p", strings.NewReader(plan+"\n"))
		if p == nil {
			t.Fatalf("%s: no plan", title)
		}
		p.Map()
		if len(problems) == 0 {
			t.Errorf("%s: no problem", title)
		}
		var got strings.Builder
		for _, p := range problems {
			fmt.Fprintln(&got, p)
		}
		fmt.Fprintf(&out, "\n== %s\n%s\n--\n%s", title, plan, &got)
	}
	sacntest.Golden(t, file, out.String())
}

func TestBytesThatAreNoText(t *testing.T) {
	for _, c := range []struct{ plan, want string }{
		{"name: caf\xe9\n", `p:1:10: error: byte 0xe9 is not UTF-8 text; save the plan as UTF-8 text`},
		{"name: é\nstrings: \x00\n", `p:2:10: error: byte 0x00 is not UTF-8 text; save the plan as UTF-8 text`},
		{"\xff\xfen\x00a\x00", `p:1:1: error: byte 0xff is not UTF-8 text; save the plan as UTF-8 text`},
		{"{\"name\": \"\xc3(\"}", `p:1:11: error: byte 0xc3 is not UTF-8 text; save the plan as UTF-8 text`},
	} {
		_, problems := Load("p", strings.NewReader(c.plan))
		if len(problems) != 1 || problems[0].String() != c.want {
			t.Errorf("%q: got %v, want %s", c.plan, problems, c.want)
		}
	}
}

func TestReaderFails(t *testing.T) {
	_, problems := Load("p", iotest.ErrReader(errors.New("the disk is gone")))
	const want = "p: error: the plan cannot be read: the disk is gone; check the file"
	if len(problems) != 1 || problems[0].String() != want {
		t.Errorf("got %v, want %s", problems, want)
	}
}

// TestHugePlans checks that text made to exhaust memory is refused with one
// clear problem. Each is within or past the size limit and would become
// millions of values, or more than any memory holds.
func TestHugePlans(t *testing.T) {
	var bomb strings.Builder
	bomb.WriteString("strings: &a [x,x,x,x,x,x,x,x,x,x]\n")
	for c := 'b'; c < 'z'; c++ {
		fmt.Fprintf(&bomb, "%c: &%c [%s]\n", c, c, strings.Repeat(fmt.Sprintf("*%c,", c-1), 10))
	}
	rep := strings.Repeat
	for _, c := range []struct {
		name string
		plan io.Reader
		want string
	}{
		{"20 MiB", io.MultiReader(strings.NewReader("strings: []\n"), strings.NewReader(rep("# x\n", 5<<20))), "p:1:1: error: the plan is longer than 16 MiB; split the display into several plans"},
		{"an endless one", endless{}, "p:1:1: error: the plan is longer than 16 MiB; split the display into several plans"},
		{"a flow list", strings.NewReader("strings: [" + rep("a,", 2<<20) + "]"), "p:1:1: error: the plan has more than 1048576 values; split the display into several plans"},
		{"a block list", strings.NewReader("strings:\n" + rep("- a:\n", 2<<20)), "p:1:1: error: the plan has more than 1048576 values; split the display into several plans"},
		{"a JSON list", strings.NewReader(`{"strings":[` + rep("1,", 1<<20) + "1]}"), "p:1:1: error: the plan has more than 1048576 values; split the display into several plans"},
		{"deep YAML", strings.NewReader(rep("[", 1<<19)), "p:1:1: error: this is not YAML: exceeded max depth of 10000; look here and at the line before: indentation, a missing quote or bracket"},
		{"deep JSON", strings.NewReader(`{"a":` + rep("[", 1<<19)), "p:1:38: error: values are nested more than 32 deep; nest them less: a plan needs six levels"},
		{"aliases of aliases", strings.NewReader(bomb.String()), "p:1:14: error: the aliases stand for more than 1048576 values; write the values out"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, problems := Load("p", c.plan)
			if len(problems) != 1 || problems[0].String() != c.want {
				t.Errorf("got %v, want %s", problems, c.want)
			}
		})
	}
}

type endless struct{}

func (endless) Read(b []byte) (int, error) {
	for i := range b {
		b[i] = ' '
	}
	return len(b), nil
}

// TestManyProblems checks that a file full of mistakes is answered in bounded
// time and with a bounded answer.
func TestManyProblems(t *testing.T) {
	_, problems := Load("p", strings.NewReader("strings:\n"+strings.Repeat("- a: {}\n", 20000)))
	if len(problems) != maxProblems+1 {
		t.Errorf("got %d problems, want %d and a last one that says there are more", len(problems), maxProblems)
	}
	var unknown bytes.Buffer
	for i := range 20000 {
		fmt.Fprintf(&unknown, "key%d: 1\n", i)
	}
	if _, problems = Load("p", &unknown); len(problems) != maxProblems+1 {
		t.Errorf("got %d problems for unknown keys", len(problems))
	}
}
