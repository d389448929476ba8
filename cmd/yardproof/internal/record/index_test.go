package record

import (
	"bytes"
	"fmt"
	"path/filepath"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

// Whatever the file holds: nothing panics, every octet is either in a whole line or
// in the rest, a head is what the whole line says, and a line that was read is the
// same when it is written and read again.
func FuzzRead(f *testing.F) {
	line, _ := (&Line{Kind: Proof, String: "a", Label: "A1", Verdict: Good, LastLit: new(3), Time: time.Unix(0, 0), Readings: whiteReadings()}).encode()
	f.Add(line)
	f.Add(append(bytes.Clone(line), `{"kind":"note","note":"half`...))
	f.Add([]byte(`{"time":"2026-11-20T17:03:04Z","kind":"note","once":"k1"}` + "\n"))
	f.Add([]byte("{}\n\n[1]\nnull\n\x00\xff\n"))
	f.Add([]byte(`{"time":"2026-11-20T17:03:04Z","kind":"look","controller":"boathouse","seen":"holds","note":"a, \"}"}` + "\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		var l Log
		notes, err := l.read(bytes.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		if want := int64(bytes.LastIndexByte(text, '\n') + 1); l.size != want || !bytes.Equal(l.torn, text[l.size:]) {
			t.Fatalf("%q: whole up to %d, want %d; rest %q", text, l.size, want, l.torn)
		}
		whole := bytes.Count(text, []byte("\n"))
		if l.index.Len() > whole {
			t.Fatalf("%d lines of %d", l.index.Len(), whole)
		}
		for _, n := range notes {
			if n != Shown(n) {
				t.Fatalf("a note holds control characters: %q", n)
			}
		}
		l.index.Standings()
		for one := range bytes.Lines(text[:l.size]) {
			line, err := decode(one)
			if err != nil {
				continue
			}
			if h, ok := readHead(one); ok && !sameHead(h, headOf(&line)) {
				t.Fatalf("%q: head %+v, want %+v", one, h, headOf(&line))
			}
			encoded, err := line.encode()
			if err != nil {
				continue // a year past 9999
			}
			again, err := decode(encoded)
			if err != nil {
				t.Fatalf("%q: %v", encoded, err)
			}
			if a, _ := again.encode(); !bytes.Equal(a, encoded) {
				t.Fatalf("%q becomes %q", encoded, a)
			}
		}
	})
}

// sameHead allows white where the words are there and not in one reading: that
// decides only which lines are looked at.
func sameHead(fast, full head) bool {
	if full.white && !fast.white {
		return false
	}
	fast.white = full.white
	return reflect.DeepEqual(texts(fast), texts(full))
}

func texts(h head) []string {
	return []string{string(h.kind), string(h.stage), string(h.verdict), string(h.name), string(h.label), string(h.control), string(h.saw), string(h.once)}
}

func whiteReadings() []Reading {
	return []Reading{
		{Feed: "start", Quantity: "amps", Value: 0.09, While: "dark", Pattern: "dark", LevelPercent: new(0.0), Expected: new(0.1)},
		{Feed: "start", Quantity: "amps", Value: 1.71, While: "white", Pattern: "full-white", LevelPercent: new(100.0), Count: 30, Expected: new(1.7)},
	}
}

// season writes a long record: proofs of 50 strings in a row, with readings.
func season(t testing.TB, lines int) (dir string) {
	t.Helper()
	dir = t.TempDir()
	var text []byte
	start := time.Date(2026, 11, 1, 12, 0, 0, 0, time.UTC)
	for i := range lines {
		l := Line{Time: start.Add(time.Duration(i) * time.Minute), Kind: Proof, Plan: "Harbour Street winter lights", String: fmt.Sprintf("rail-%d", i%50),
			Label: fmt.Sprintf("B%d", i%50), Stage: Stages()[i/50%3], Verdict: Good, Readings: whiteReadings(), Pattern: "full-white", LevelPercent: new(60.0)}
		one, err := l.encode()
		if err != nil {
			t.Fatal(err)
		}
		text = append(text, one...)
	}
	sacntest.Write(t, filepath.Join(dir, FileName), text)
	return dir
}

// What a start costs is by strings, not by lines: what is kept, and what is allocated
// on the way. (At 20,000 lines, all of them kept would be some 30 MB.)
func TestLongRecordIsSmall(t *testing.T) {
	cost := func(lines int) (allocated uint64, kept int64) {
		dir := season(t, lines)
		var before, opened, after runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&before)
		l := open(t, dir)
		runtime.ReadMemStats(&opened)
		runtime.GC()
		runtime.ReadMemStats(&after)
		if l.Len() != lines {
			t.Fatalf("%d lines of %d", l.Len(), lines)
		}
		runtime.KeepAlive(l)
		return opened.Mallocs - before.Mallocs, int64(after.HeapAlloc) - int64(before.HeapAlloc)
	}
	few, keptFew := cost(200)
	many, keptMany := cost(20_000)
	t.Logf("200 lines: %d allocations, %d octets kept; 20,000: %d, %d", few, keptFew, many, keptMany)
	if many > 2*few+1000 {
		t.Errorf("200 lines take %d allocations, 20,000 take %d", few, many)
	}
	if keptMany > keptFew+1<<20 {
		t.Errorf("of 200 lines %d octets are kept, of 20,000 %d", keptFew, keptMany)
	}
}

// An answer costs the same however long the record is.
func TestStandingsByStrings(t *testing.T) {
	few, many := open(t, season(t, 200)), open(t, season(t, 5000))
	a := testing.AllocsPerRun(10, func() { few.Standings() })
	b := testing.AllocsPerRun(10, func() { many.Standings() })
	if b > a+10 {
		t.Errorf("of 200 lines %v allocations, of 5,000 %v", a, b)
	}
}

// However it is read, the record says the same: by heads, by whole lines, and line by
// line as it is written. One line whose head makes sense and whose rest does not is
// found where it would count.
func TestIndexHoweverRead(t *testing.T) {
	dir := season(t, 400)
	path := filepath.Join(dir, FileName)
	text := sacntest.Read(t, path)
	text += `{"time":"2026-12-31T12:00:00Z","kind":"proof","string":"rail-1","label":"B1","stage":"hung","verdict":"fault","level_percent":"much"}` + "\n"
	text += `{"kind": "proof", "string": "rail-2", "verdict": "fault", "note": "by hand"}` + "\n"
	sacntest.Write(t, path, text)
	l, notes, err := Open(dir)
	if err != nil || len(notes) != 1 || !strings.Contains(notes[0], FileName+":401 is left out") {
		t.Fatalf("%q, %v", notes, err)
	}
	defer l.Close()
	lines, _, err := readAll(dir)
	if err != nil {
		t.Fatal(err)
	}
	x := indexOf(lines)
	if !reflect.DeepEqual(l.Standings(), x.Standings()) || !reflect.DeepEqual(l.Whites(), x.Whites()) || l.Len() != 401 {
		t.Errorf("%d lines; %+v\n%+v", l.Len(), l.Standings()[:2], x.Standings()[:2])
	}
	s := l.Standings()
	i := slices.IndexFunc(s, func(s Standing) bool { return s.String == "rail-2" })
	if s[i].Latest.Note != "by hand" {
		t.Errorf("a line written by hand does not count: %+v", s[i])
	}
}

// What was last seen of a controller is found again, and which spare hangs.
func TestSeenAndSpare(t *testing.T) {
	x := indexOf([]Line{
		{Kind: Inspection, Controller: "boathouse", Seen: "holds"},
		{Kind: Inspection, Controller: "boathouse", Seen: "dark"},
		{Kind: Inspection, Controller: "boathouse", Seen: "nothing of note"},
		{Kind: Replaced, String: "gable", Label: "S1"},
		{Kind: Replaced, String: "gable"},
	})
	if got, changed := x.Seen("boathouse", "holds", "dark"); got != "dark" || changed != 2 {
		t.Errorf("seen %q, at line %d", got, changed)
	}
	if got, changed := x.Seen("lighthouse", "holds", "dark"); got != "" || changed != 0 {
		t.Errorf("seen %q, at line %d", got, changed)
	}
	if got := x.Spare("gable"); got != "S1" {
		t.Errorf("spare %q", got)
	}
}

// What was put right counts once the string was proved good after it; what was tried
// before it, or did not help, does not. It is the same however the record was read.
func TestMends(t *testing.T) {
	mended := func(name, what string) Line {
		return Line{Kind: Note, String: name, Note: "Put right", Seen: MendedWord + what}
	}
	good := func(name string) Line { return Line{Kind: Proof, String: name, Verdict: Good} }
	lines := []Line{
		mended("rail-1", "broken-data@41"), good("rail-1"), good("rail-1"),
		mended("rail-2", "a-wet-joint@7"), {Kind: Proof, String: "rail-2", Verdict: Fault},
		mended("rail-2", "broken-data@9"), mended("rail-2", "an-open-feed@end"), good("rail-2"),
		mended("rail-3", "broken-data@2"), good("rail-4"), good("rail-3"),
		mended("rail-5", "broken-data@2"), mended("rail-6", strings.Repeat("x", 100)), good("rail-6"),
		{Kind: Note, String: "rail-7", Note: "mended=broken-data", Seen: "wet"}, good("rail-7"),
	}
	want := map[string]int{"broken-data": 2, "an-open-feed": 1}
	if got := indexOf(lines).Mends(); !reflect.DeepEqual(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
	if s := indexOf(lines).Standings(); slices.ContainsFunc(s, func(s Standing) bool { return s.String == "rail-5" }) {
		t.Error("a string stands where nothing but a note is")
	}
	dir := t.TempDir()
	l, _, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range lines {
		if _, err := l.Append(line); err != nil {
			t.Fatal(err)
		}
	}
	if got := l.Mends(); !reflect.DeepEqual(got, want) {
		t.Errorf("as written: %v, want %v", got, want)
	}
	l.Close()
	if l, _, err = Open(dir); err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	if got := l.Mends(); !reflect.DeepEqual(got, want) {
		t.Errorf("as read: %v, want %v", got, want)
	}
}

func BenchmarkOpen(b *testing.B) {
	dir := season(b, 200_000)
	for b.Loop() {
		l, _, err := Open(dir)
		if err != nil {
			b.Fatal(err)
		}
		l.Close()
	}
}
