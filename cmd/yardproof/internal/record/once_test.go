package record

import (
	"errors"
	"fmt"
	"path/filepath"
	"reflect"
	"strings"
	"sync"
	"testing"

	"yardproof/sacn/sacntest"
)

// A line that is sent again is the one on record: at once, from many at the same moment,
// and after a restart.
func TestSentAgain(t *testing.T) {
	dir := t.TempDir()
	l := open(t, dir)
	add(t, l, Line{Kind: Note, Note: "before"})
	proof := Line{Kind: Proof, String: "roof", Verdict: Good, Note: "dry", Once: "k1"}
	first := add(t, l, proof)
	late := proof
	late.Note = "dry; sent later"
	again := func(when string) {
		t.Helper()
		if got, err := l.Append(late); !errors.Is(err, ErrAgain) || !reflect.DeepEqual(got, first) {
			t.Errorf("%s: %+v, %v; want the first, %+v", when, got, err, first)
		}
		if got, err := l.Again("k1"); err != nil || got == nil || !reflect.DeepEqual(*got, first) {
			t.Errorf("%s: Again gives %+v, %v", when, got, err)
		}
	}
	again("at once")
	if _, err := l.Append(Line{Kind: Proof, String: "gable", Verdict: Good, Once: "k1"}); !errors.Is(err, ErrLine) {
		t.Errorf("another string's line with the same word: %v", err)
	}
	if got, err := l.Again("k2"); got != nil || err != nil {
		t.Errorf("an unknown word gives %+v, %v", got, err)
	}
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			if _, err := l.Append(Line{Kind: Note, Note: "from many", Once: "k3"}); err != nil && !errors.Is(err, ErrAgain) {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	l.Close()
	l = open(t, dir)
	again("after a restart")
	if lines, _, err := readAll(dir); err != nil || len(lines) != 3 {
		t.Errorf("%d lines on disk, %v; want 3", len(lines), err)
	}
	text := sacntest.Read(t, filepath.Join(dir, FileName))
	sacntest.Write(t, filepath.Join(dir, FileName), strings.ReplaceAll(text, "k1", "kX"))
	if got, err := l.Append(proof); err == nil || errors.Is(err, ErrAgain) {
		t.Errorf("what another program has changed is answered %+v, %v", got, err)
	}
}

func TestOnceIsChecked(t *testing.T) {
	for word, good := range map[string]bool{
		"": true, "A9-_z": true, strings.Repeat("x", maxOnce): true, strings.Repeat("x", maxOnce+1): false, "a b": false, "é": false, "\x00": false,
	} {
		if err := (&Line{Kind: Note, Once: word}).Check(); (err == nil) != good {
			t.Errorf("%q: %v", word, err)
		}
	}
}

// What is remembered has a bound.
func TestAskedIsBounded(t *testing.T) {
	var x Index
	for i := range 3 * maxAsked {
		x.add(head{kind: Note, once: fmt.Appendf(nil, "k%d", i)}, mark{octets: 1})
	}
	if len(x.asked.places) != maxAsked || len(x.asked.ring) != maxAsked {
		t.Errorf("%d words in a ring of %d", len(x.asked.places), len(x.asked.ring))
	}
	for word, there := range map[string]bool{"k0": false, fmt.Sprint("k", 2*maxAsked-1): false, fmt.Sprint("k", 2*maxAsked): true, fmt.Sprint("k", 3*maxAsked-1): true} {
		if _, ok := x.asked.places[word]; ok != there {
			t.Errorf("%s is remembered: %v", word, ok)
		}
	}
}
