package main

import (
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/record"
	"yardproof/sacn/sacntest"
)

// TestAnswerComesAfterTheDisk: a proof is answered 201 when it is on disk, flushed, and
// not before. A disk that fails as it is written to, or flushed, is answered by an error,
// leaves no line, and is gone through again when it works; frames go out throughout.
func TestAnswerComesAfterTheDisk(t *testing.T) {
	t.Parallel() // it waits more than it works
	state := t.TempDir()
	prog := sacntest.Start(t, "run", "--demo", "--no-scan", "--state", state, "--http", "127.0.0.1:0")
	at := serving(t, prog)
	post := func(path, body string) (int, string) { return ask(t, "POST", at+path, body) }
	note := func(text string) (int, string) {
		t.Helper()
		return post("/api/notes", `{"note":"`+text+`"}`)
	}
	value := func(name string) float64 {
		t.Helper()
		_, text := ask(t, "GET", at+"/metrics", "")
		v, _ := metricSum(t, text, name)
		return v
	}

	end := trace(t, prog, "trace=pwrite64,write,fsync")
	if code, answer := note("dry and still"); code != http.StatusCreated {
		t.Fatalf("a note is answered %d %s", code, answer)
	}
	calls := end()
	// A call may be told in two lines: begun, and resumed by the same thread.
	written := regexp.MustCompile(`(?s)\n(\d+) +pwrite64\((\d+), "[^\n]*dry and still.*?`).FindStringSubmatchIndex("\n" + calls)
	if written == nil {
		t.Fatalf("no line is written: %s", calls)
	}
	fd, rest := ("\n" + calls)[written[4]:written[5]], ("\n" + calls)[written[1]:]
	before, _, answered := strings.Cut(rest, `HTTP/1.1 201`)
	flushed := regexp.MustCompile(`fsync\(` + fd + `\)\s+= 0|fsync\(` + fd + ` <unfinished(?s:.*)fsync resumed>\)\s+= 0`)
	if !answered || !flushed.MatchString(before) {
		t.Errorf("the answer comes before the line is flushed: %s", calls)
	}

	kept := []string{"dry and still"}
	for _, call := range []string{"fsync", "pwrite64"} {
		end := trace(t, prog, "trace="+call, "inject="+call+":error=EIO")
		frames := value("frames_sent_total")
		if code, answer := note("lost to " + call); code < 500 {
			t.Errorf("%s fails: a note is answered %d %s", call, code, answer)
		}
		if v := value("record_available"); v != 0 {
			t.Errorf("%s fails: the metrics say that the record is available: %v", call, v)
		}
		if code, answer := post("/api/dark", "{}"); code != http.StatusOK || !strings.Contains(answer, `"pattern":"dark"`) {
			t.Errorf("%s fails: dark is answered %d %s", call, code, answer)
		}
		sacntest.Eventually(t, 30*time.Second, "sending on", func() bool { return value("frames_sent_total") > frames+3 })
		end()
		if code, answer := note("after " + call); code != http.StatusCreated {
			t.Errorf("%s works again: a note is answered %d %s", call, code, answer)
		}
		if v := value("record_available"); v != 1 {
			t.Errorf("%s works again: the metrics say %v", call, v)
		}
		kept = append(kept, "after "+call)
	}
	prog.Stop()
	var got []string
	for _, line := range recorded(t, state) {
		if line.Kind == record.Note {
			got = append(got, line.Note)
		}
	}
	if strings.Join(got, "; ") != strings.Join(kept, "; ") {
		t.Errorf("on record: %q, want %q", got, kept)
	}
}
