package farend

import (
	"strings"
	"testing"
	"time"
)

func sampleAnswer() *Answer {
	a := &Answer{Interface: "yard0", Seconds: 31, Joined: 60}
	src := Source{CID: "c", Name: "quay laptop", Address: "10.77.0.1"}
	for u := range uint16(60) {
		src.Universes = append(src.Universes, Stream{Universe: u + 1, Priority: 100, Packets: 1200, RateHz: 40, rateNow: 40, Live: true})
	}
	src.Universes[41].Lost, src.Universes[41].LossPercent = 30, 2.44
	src.Universes[8].Live, src.Universes[8].Outages, src.Universes[8].OutageSeconds, src.Universes[8].silent = false, 1, 6, 6*time.Second
	src.Universes[3].Preview, src.Universes[4].SyncAddress = true, 500
	a.Sources = []Source{src}
	a.Findings = []string{"30 packets were lost"}
	return a
}

func TestText(t *testing.T) {
	var b strings.Builder
	if err := sampleAnswer().Print(&b); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(b.String(), "\n")
	if !strings.HasPrefix(strings.TrimSpace(lines[3]), "9 ") || !strings.Contains(lines[3], "silent 6s") || !strings.HasPrefix(strings.TrimSpace(lines[4]), "42 ") {
		t.Errorf("the worst do not come first:\n%s", b.String())
	}
	for _, want := range []string{"and 38 more without loss", "found: 30 packets were lost", "preview", "sync 500"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %q in\n%s", want, b.String())
		}
	}
}

// The live table never leaves its screen, whatever the size.
func TestScreen(t *testing.T) {
	a := sampleAnswer()
	past := make(streamHistory)
	past.note(a)
	a.Sources[0].Universes[41].Packets, a.Sources[0].Universes[41].Lost = 1220, 50
	past.note(a)
	for _, size := range [][2]int{{24, 80}, {50, 200}, {5, 20}, {1, 1}} {
		got := screen(a, past, size[0], size[1])
		lines := strings.Split(got, "\r\n")
		if len(lines) > size[0] {
			t.Errorf("%v: %d lines", size, len(lines))
		}
		for _, line := range lines {
			line = strings.NewReplacer("\x1b[H", "", "\x1b[K", "", "\x1b[J", "").Replace(line)
			if n := len([]rune(line)); n > size[1] {
				t.Errorf("%v: a line of %d", size, n)
			}
		}
	}
	// What does not fit is left out whole, and no heading is cut.
	a.Notes = append(a.Notes, strings.Repeat("a long note of many words, ", 10))
	for width, heads := range map[int]string{
		200: "jitter ms", 110: "priority", 100: "packets", 80: "loss %",
	} {
		got := strings.Split(screen(a, past, 50, width), "\r\n")
		if head := strings.TrimSuffix(got[1], "\x1b[K"); !strings.Contains(head, heads) || !strings.HasSuffix(head, "last 30 s") {
			t.Errorf("at %d columns the heads are %q", width, head)
		}
		if all := strings.Join(strings.Fields(strings.ReplaceAll(strings.Join(got, " "), "\x1b[K", "")), " "); strings.Count(all, "many words,") != 10 {
			t.Errorf("at %d columns a note is cut:\n%s", width, all)
		}
	}
	wide := screen(a, past, 50, 200)
	if !strings.Contains(wide, " 16\x1b") || !strings.Contains(wide, ".#") {
		t.Errorf("strip of loss:\n%s", wide)
	}
}

func TestMark(t *testing.T) {
	for _, c := range []struct {
		packets uint64
		lost    int64
		ended   bool
		want    byte
	}{
		{40, 0, false, '.'}, {40, -1, false, '.'}, {39, 1, false, '1'}, {20, 20, false, '6'}, {1, 39, false, '9'}, {0, 0, false, '#'}, {0, 0, true, ' '},
	} {
		if got := mark(c.packets, c.lost, c.ended); got != c.want {
			t.Errorf("%+v: %c", c, got)
		}
	}
}
