package main

import (
	"bytes"
	"net"
	"strings"
	"testing"

	"yardproof/cmd/yardproof/internal/web"
)

func TestLink(t *testing.T) {
	dir := t.TempDir()
	call := func(args ...string) (code int, out, errs string) {
		var o, e bytes.Buffer
		code = run(t.Context(), stdio{&o, &e}, append([]string{"link"}, args...))
		return code, o.String(), e.String()
	}
	if code, _, errs := call("--state", dir); code != exitFound || !strings.Contains(errs, "yardproof run with --http") {
		t.Errorf("with no page to link to: exit %d, %q", code, errs)
	}
	if code, _, errs := call("--state", dir, "extra"); code != exitUsage || strings.Count(errs, "\n") != 1 {
		t.Errorf("with an argument: exit %d, %q", code, errs)
	}
	page, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := web.Announce(dir, page.Addr(), nil); err != nil {
		t.Fatal(err)
	}
	code, first, errs := call("--state", dir)
	if code != exitFine || !strings.HasPrefix(first, "http://"+page.Addr().String()+"/#") || strings.Count(first, "\n") != 1 || !strings.Contains(errs, "▄") {
		t.Errorf("exit %d, %q, %q", code, first, errs)
	}
	if _, second, _ := call("--state", dir); second == first {
		t.Error("two links are the same")
	}
	page.Close()
	if code, out, errs := call("--state", dir); code != exitFound || out != "" || !strings.Contains(errs, "start the transmitter first") {
		t.Errorf("with no transmitter: exit %d, %q, %q", code, out, errs)
	}
}

// All interfaces must be written: an address that was left out is a slip.
func TestPageNeedsAnAddress(t *testing.T) {
	var out, errs bytes.Buffer
	code := run(t.Context(), stdio{&out, &errs}, []string{"run", "--demo", "--no-scan", "--state", t.TempDir(), "--http", ":9531"})
	if code != exitUsage || !strings.Contains(errs.String(), "names no address") {
		t.Errorf("exit %d, %q", code, errs.String())
	}
}
