package main

import (
	"strings"
	"testing"

	"yardproof/cmd/yardproof/internal/web"
	"yardproof/sacn/sacntest"
)

func TestLink(t *testing.T) {
	dir := t.TempDir()
	if code, _, errs := call(t, "link", "--state", dir); code != exitFound || !strings.Contains(errs, "yardproof run with --http") {
		t.Errorf("with no page to link to: exit %d, %q", code, errs)
	}
	if code, _, errs := call(t, "link", "--state", dir, "extra"); code != exitUsage || strings.Count(errs, "\n") != 1 {
		t.Errorf("with an argument: exit %d, %q", code, errs)
	}
	page := sacntest.Listen(t)
	if _, err := web.Announce(dir, page.Addr(), nil); err != nil {
		t.Fatal(err)
	}
	code, first, errs := call(t, "link", "--state", dir)
	if code != exitFine || !strings.HasPrefix(first, "http://"+page.Addr().String()+"/#") || strings.Count(first, "\n") != 1 || !strings.Contains(errs, "▄") {
		t.Errorf("exit %d, %q, %q", code, first, errs)
	}
	if _, second, _ := call(t, "link", "--state", dir); second == first {
		t.Error("two links are the same")
	}
	page.Close()
	if code, out, errs := call(t, "link", "--state", dir); code != exitFound || out != "" || !strings.Contains(errs, "start the transmitter first") {
		t.Errorf("with no transmitter: exit %d, %q, %q", code, out, errs)
	}
}
