package main

import (
	"strings"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/web"
	"yardproof/sacn/sacntest"
)

func TestPhonesCommand(t *testing.T) {
	dir := t.TempDir()
	if _, err := web.New(web.Config{State: dir}); err != nil { // makes the directories
		t.Fatal(err)
	}
	for _, tt := range []struct {
		args []string
		code int
		want string
	}{
		{nil, exitFine, "no phone was let in; yardproof link"},
		{[]string{"revoke", "anna's phone"}, exitFound, "what to do: yardproof phones lists them"},
		{[]string{"revoke"}, exitUsage, "without a word more it lists them"},
		{[]string{"lose", "a"}, exitUsage, "without a word more it lists them"},
		{[]string{"--state", dir + "/none"}, exitUsage, "there is no state directory"},
	} {
		code, _, stderr := call(t, append([]string{"phones", "--state", dir}, tt.args...)...)
		if code != tt.code || !strings.Contains(stderr, tt.want) {
			t.Errorf("%q: exit %d, %q", tt.args, code, stderr)
		}
	}
}

// A stranger who reads the journal must not get in by it: the link is for a terminal,
// or for whoever asks for one. The phone that it lets in has its name, and is let out by
// it while the program runs.
func TestLinkStaysOutOfTheJournal(t *testing.T) {
	pair := sacntest.NewPair(t)
	state := t.TempDir()
	page := sacntest.NearAddr4 + ":9531"
	prog := pair.Start(t, pair.Near, "run", burnInPlan, "--no-scan", "--state", state, "--http", page)
	prog.Says(20*time.Second, "yardproof link --state "+state)
	if said := prog.Stderr(); strings.Contains(said, "/#") || strings.Contains(said, "▄") {
		t.Errorf("a link is in what a journal keeps: %s", said)
	}
	linked := pair.Start(t, pair.Near, "link", "--state", state, "--name", "anna's phone")
	if code := linked.Wait(20 * time.Second); code != exitFine {
		t.Fatalf("link: exit %d, %s", code, linked.Stderr())
	}
	_, token, _ := strings.Cut(strings.TrimSpace(linked.Stdout()), "#")
	jar := t.TempDir() + "/cookies"
	curl := func(args ...string) string {
		out, _ := pair.Command(t.Context(), pair.Far, "curl", append([]string{"-s", "-m", "5", "-b", jar, "-c", jar, "-H", "Content-Type: application/json", "-w", "%{http_code}"}, args...)...).Output()
		return string(out)
	}
	if got := curl("-d", `{"token":"`+token+`"}`, "http://"+page+"/api/session"); got != "204" {
		t.Fatalf("the link answers %q", got)
	}
	if code, stdout, stderr := call(t, "phones", "--state", state); code != exitFine || !strings.Contains(stdout, "anna's phone") {
		t.Errorf("phones: exit %d, %q, %s", code, stdout, stderr)
	}
	if got := curl("-d", "{}", "http://"+page+"/api/dark"); !strings.Contains(got, `"by":"anna's phone"`) {
		t.Errorf("dark answers %q", got)
	}
	if code, _, stderr := call(t, "phones", "--state", state, "revoke", "anna's phone"); code != exitFine || !strings.Contains(stderr, "is let out") {
		t.Errorf("phones revoke: exit %d, %s", code, stderr)
	}
	sacntest.Eventually(t, 5*time.Second, "shut out", func() bool {
		return strings.HasSuffix(curl("http://"+page+"/api/state"), "401")
	})
}
