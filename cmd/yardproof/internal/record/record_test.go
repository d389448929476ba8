package record

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

func open(t *testing.T, dir string) *Log {
	t.Helper()
	l, _, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l
}

func add(t *testing.T, l *Log, line Line) Line {
	t.Helper()
	line, err := l.Append(line)
	if err != nil {
		t.Fatal(err)
	}
	return line
}

// readAll is what a reader finds in a directory.
func readAll(dir string) (lines []Line, notes []string, err error) {
	r, err := OpenReader(dir)
	if err != nil {
		return nil, nil, err
	}
	defer r.Close()
	for place, l := range r.Lines() {
		again, err := r.Line(place)
		if err != nil || !reflect.DeepEqual(again, *l) {
			return nil, nil, fmt.Errorf("at %v there is %+v (%v), not %+v", place, again, err, *l)
		}
		lines = append(lines, *l)
	}
	return lines, r.Notes(), r.Err()
}

func indexOf(lines []Line) *Index {
	var x Index
	for i := range lines {
		x.Add(&lines[i])
	}
	return &x
}

// Every field comes back as it went in.
func TestRoundTrip(t *testing.T) {
	dir := t.TempDir()
	l := open(t, dir)
	in := Line{
		Time: time.Date(2026, 11, 20, 17, 3, 4, 5e6, time.UTC), Kind: Proof, Plan: "Harbour Street winter lights", String: "gable-left", Label: "C1",
		Controller: "boathouse", Stage: Hung, Verdict: Fault, Seen: "GRB", LastLit: new(0), Note: "„zweites“ \x1b[31mstück\n\u009b1m \U000e0041",
		Readings: []Reading{{Feed: "start", Quantity: "amps", At: "supply", Value: 2.31, While: "white", Pattern: "full-white", LevelPercent: new(60.5), Count: 30, Expected: new(2.4)}},
		Pattern:  "full-white", LevelPercent: new(60.0), Once: "tap-3fA_",
	}
	v := reflect.ValueOf(in)
	for i := range v.NumField() {
		if v.Field(i).IsZero() {
			t.Errorf("the test leaves %s empty", v.Type().Field(i).Name)
		}
	}
	out := add(t, l, in)
	if !reflect.DeepEqual(in, out) {
		t.Errorf("recorded %+v, want %+v", out, in)
	}
	got, notes, err := readAll(dir)
	if err != nil || len(notes) > 0 || len(got) != 1 || !reflect.DeepEqual(got[0], in) {
		t.Fatalf("read back %+v, %v, %v", got, notes, err)
	}
	text := sacntest.Read(t, filepath.Join(dir, FileName))
	for _, r := range text {
		if r < ' ' && r != '\n' || r >= 0x7f && r < 0xa0 || r >= 0xe0000 {
			t.Errorf("the file holds %U", r)
		}
	}
	l.Close()
	if s := open(t, dir).Standings(); len(s) != 1 || !reflect.DeepEqual(*s[0].Latest, in) {
		t.Errorf("opened again: %+v", s)
	}
}

func TestCheck(t *testing.T) {
	l := open(t, t.TempDir())
	good := Line{Kind: Proof, String: "gable-left", Verdict: Good}
	for name, change := range map[string]func(*Line){
		"no kind":         func(l *Line) { l.Kind = "" },
		"other kind":      func(l *Line) { l.Kind = "party" },
		"no string":       func(l *Line) { l.String = "" },
		"no verdict":      func(l *Line) { l.Verdict = "" },
		"other verdict":   func(l *Line) { l.Verdict = "fine" },
		"stage":           func(l *Line) { l.Stage = "summer" },
		"last lit":        func(l *Line) { l.LastLit = new(-1) },
		"level":           func(l *Line) { l.LevelPercent = new(math.NaN()) },
		"long note":       func(l *Line) { l.Note = strings.Repeat("x", maxText+1) },
		"not UTF-8":       func(l *Line) { l.Note = "\xff" },
		"quantity":        func(l *Line) { l.Readings = []Reading{{Quantity: "ohms", Value: 1}} },
		"value":           func(l *Line) { l.Readings = []Reading{{Quantity: "amps", Value: math.Inf(1)}} },
		"while":           func(l *Line) { l.Readings = []Reading{{Quantity: "amps", Value: 1, While: "raining"}} },
		"expected":        func(l *Line) { l.Readings = []Reading{{Quantity: "amps", Value: 1, Expected: new(math.NaN())}} },
		"long feed":       func(l *Line) { l.Readings = []Reading{{Quantity: "amps", Value: 1, Feed: strings.Repeat("x", 999)}} },
		"too many":        func(l *Line) { l.Readings = make([]Reading, maxReadings+1) },
		"reading without": func(l *Line) { l.Kind = Measured },
		"replaced what":   func(l *Line) { l.Kind, l.String = Replaced, "" },
	} {
		line := good
		change(&line)
		if _, err := l.Append(line); !errors.Is(err, ErrLine) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if n := l.Len(); n != 0 {
		t.Errorf("%d lines were recorded", n)
	}
	add(t, l, good)
}

// Whatever part of the file is there after a crash, the whole lines are kept, the
// rest is set aside octet for octet, and appending goes on.
func TestTornAnywhere(t *testing.T) {
	dir := t.TempDir()
	l := open(t, dir)
	for i := range 3 {
		add(t, l, Line{Kind: Note, Note: fmt.Sprintf("line %d: ü", i)})
	}
	whole := sacntest.Read(t, filepath.Join(dir, FileName))
	for cut := range len(whole) + 1 {
		dir := t.TempDir()
		path := filepath.Join(dir, FileName)
		sacntest.Write(t, path, whole[:cut])
		kept := strings.LastIndexByte(whole[:cut], '\n') + 1
		want := strings.Count(whole[:cut], "\n")
		before, notes, err := readAll(dir) // a reader changes nothing
		if err != nil || len(before) != want || (len(notes) > 0) != (kept < cut) {
			t.Fatalf("cut at %d: read %d lines, %v, %v", cut, len(before), notes, err)
		}
		l, notes, err := Open(dir)
		if err != nil || l.Len() != want || (len(notes) > 0) != (kept < cut) {
			t.Fatalf("cut at %d: %v, %v", cut, notes, err)
		}
		torn, err := os.ReadFile(filepath.Join(dir, TornName))
		if kept < cut {
			if piece := []byte(whole[kept:cut] + "\n"); err != nil || !bytes.HasSuffix(torn, piece) || !bytes.HasPrefix(torn, []byte("# set aside ")) {
				t.Fatalf("cut at %d: %q is not at the end of %q (%v)", cut, piece, torn, err)
			}
		} else if !os.IsNotExist(err) {
			t.Fatalf("cut at %d: nothing was torn, yet there is %q (%v)", cut, torn, err)
		}
		add(t, l, Line{Kind: Note, Note: "after"})
		l.Close()
		after, notes, err := readAll(dir)
		if err != nil || len(notes) > 0 || len(after) != want+1 || after[want].Note != "after" {
			t.Fatalf("cut at %d: then %+v, %v, %v", cut, after, notes, err)
		}
	}
}

// A whole line that makes no sense is named and stays in the file.
func TestDamagedLineStays(t *testing.T) {
	dir := t.TempDir()
	l := open(t, dir)
	add(t, l, Line{Kind: Note, Note: "before"})
	path := filepath.Join(dir, FileName)
	f, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	fmt.Fprint(f, "{\"kind\":\x1b[2J\n\n{\"kind\":\"party\"}\n")
	f.Close()
	l.Close()
	l = open(t, dir)
	add(t, l, Line{Kind: Note, Note: "after"})
	got, notes, err := readAll(dir)
	if err != nil || len(got) != 2 || len(notes) != 2 || !strings.Contains(notes[0], FileName+":2 ") || !strings.Contains(notes[1], FileName+":4 ") {
		t.Fatalf("%+v, %q, %v", got, notes, err)
	}
	if strings.ContainsRune(notes[0], 0x1b) {
		t.Errorf("a note holds an escape: %q", notes[0])
	}
	text, _ := os.ReadFile(path)
	if !bytes.Contains(text, []byte("party")) {
		t.Errorf("the damaged line is gone: %q", text)
	}
}

func TestAppendFromMany(t *testing.T) {
	dir := t.TempDir()
	l := open(t, dir)
	var wg sync.WaitGroup
	for i := range 8 {
		wg.Go(func() {
			for k := range 10 {
				if _, err := l.Append(Line{Kind: Note, Note: fmt.Sprint(i, k)}); err != nil {
					t.Error(err)
				}
				l.Standings()
			}
		})
	}
	wg.Wait()
	got, notes, err := readAll(dir)
	if err != nil || len(notes) > 0 || len(got) != 80 {
		t.Fatalf("%d lines, %v, %v", len(got), notes, err)
	}
}

func TestNoRecord(t *testing.T) {
	if lines, notes, err := readAll(t.TempDir()); err != nil || lines != nil || notes != nil {
		t.Errorf("%v, %v, %v", lines, notes, err)
	}
	if _, _, err := Open(filepath.Join(t.TempDir(), "missing")); err == nil {
		t.Error("a missing directory is accepted")
	}
}

func TestStandings(t *testing.T) {
	proof := func(name, label string, stage Stage, v Verdict) Line {
		return Line{Kind: Proof, String: name, Label: label, Stage: stage, Verdict: v}
	}
	for _, tt := range []struct {
		name  string
		lines []Line
		want  string // string label latest stages, proofs kept
	}{
		{"twice: the later counts, both are kept", []Line{proof("a", "", Hung, Fault), proof("a", "", Hung, Good)}, "a - good hung=good 2"},
		{"stages", []Line{proof("a", "A1", Bench, Good), proof("a", "A1", Hung, Fault)}, "a A1 fault bench=good hung=fault 2"},
		{"replaced", []Line{proof("a", "A1", Hung, Good), {Kind: Replaced, String: "a", Label: "S1"}}, "a S1 unproved 1"},
		{"replaced without a label", []Line{proof("a", "", Hung, Good), {Kind: Replaced, String: "a"}}, "a - unproved 1"},
		{"replaced and proved", []Line{proof("a", "A1", Hung, Good), {Kind: Replaced, String: "a", Label: "S1"}, proof("a", "S1", Hung, Fault)}, "a S1 fault hung=fault 2"},
		{"another label", []Line{proof("a", "A1", Hung, Good), proof("a", "S1", Opening, Good)}, "a S1 good opening=good 2"},
		{"a spare brings its bench proof", []Line{proof("spare", "S1", Bench, Good), proof("a", "A1", Hung, Fault), {Kind: Replaced, String: "a", Label: "S1"}},
			"a S1 good bench=good 1; spare S1 good bench=good 1"},
		{"a mistyped tag brings no other string's proof", []Line{proof("ridge", "M5", Hung, Good), proof("door", "M4", Hung, Good), {Kind: Replaced, String: "door", Label: "M5"}},
			"door M5 unproved 1; ridge M5 good hung=good 1"},
		{"a fault stays where it was seen", []Line{proof("ridge", "M5", Hung, Good), {Kind: Replaced, String: "door", Label: "M5"}, proof("door", "M5", Hung, Fault)},
			"door M5 fault hung=fault 1; ridge M5 good hung=good 1"},
		{"on the bench, hung nowhere yet", []Line{proof("", "B2", Bench, Good), proof("", "B1", Bench, Fault), proof("", "B2", Bench, Fault), proof("a", "A1", Hung, Good)},
			"a A1 good hung=good 1;  B1 fault bench=fault 1;  B2 fault bench=fault 1"},
		{"from the bench to its place", []Line{proof("", "B1", Bench, Good), proof("a", "B1", Hung, Good)}, "a B1 good bench=good hung=good 1"},
		{"notes are no proofs", []Line{{Kind: Note, String: "a", Note: "hm"}}, ""},
	} {
		var got []string
		for _, s := range indexOf(tt.lines).Standings() {
			text := s.String + " " + s.Label
			if s.Label == "" {
				text += "-"
			}
			if s.Latest == nil {
				text += " unproved"
			} else {
				text += " " + string(s.Latest.Verdict)
			}
			for _, stage := range Stages() {
				if l := s.ByStage[stage]; l != nil {
					text += fmt.Sprintf(" %s=%s", stage, l.Verdict)
				}
			}
			got = append(got, fmt.Sprint(text, " ", s.Proofs))
		}
		if strings.Join(got, "; ") != tt.want {
			t.Errorf("%s: %s, want %s", tt.name, strings.Join(got, "; "), tt.want)
		}
	}
}

func TestShown(t *testing.T) {
	for in, want := range map[string]string{
		"plain ü": "plain ü", "a\nb\tc": "a b c", "\x1b[31m": "<U+001B>[31m", "\u202etxt": "<U+202E>txt", "\u009b": "<U+009B>", "\x7f": "<U+007F>", "\xff": "\ufffd",
	} {
		if got := Shown(in); got != want {
			t.Errorf("Shown(%q) = %q, want %q", in, got, want)
		}
	}
}
