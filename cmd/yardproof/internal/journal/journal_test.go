package journal

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// stalled takes nothing until it is let go.
type stalled struct {
	bytes.Buffer
	gate chan struct{}
}

func (s *stalled) Write(p []byte) (int, error) {
	<-s.gate
	return s.Buffer.Write(p)
}

func TestNobodyWaits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		to := &stalled{gate: make(chan struct{})}
		j := New(to)
		fmt.Fprintln(j, "first")
		synctest.Wait() // it is being written, and is stuck
		line := strings.Repeat("x", 1023) + "\n"
		for range most/len(line) + 5 {
			io.WriteString(j, line)
		}
		start := time.Now()
		j.Close(time.Second)
		if took := time.Since(start); took != time.Second {
			t.Errorf("the end took %v", took)
		}
		close(to.gate)
		<-j.done
		want := "first\n" + strings.Repeat(line, most/len(line)) + "messages lost here, because nothing took them for a while: 5\n"
		if got := to.String(); got != want {
			t.Errorf("%d octets were written, want %d; the end is %.80q", len(got), len(want), got[max(0, len(got)-80):])
		}
	})
}

func TestAllIsWritten(t *testing.T) {
	var to bytes.Buffer
	j := New(&to)
	for i := range 1000 {
		fmt.Fprintln(j, i)
	}
	j.Close(time.Minute)
	if n := bytes.Count(to.Bytes(), []byte("\n")); n != 1000 || !strings.HasSuffix(to.String(), "998\n999\n") {
		t.Errorf("%d lines were written", n)
	}
}
