package sacntest

import (
	"bytes"
	"context"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// Capture is a packet capture made by dumpcap, tshark's own helper.
type Capture struct {
	t    testing.TB
	cmd  *exec.Cmd
	talk Log
	file string

	// Checksums has tshark validate checksums. A virtual cable carries the kernel's
	// own UDP checksums unfinished.
	Checksums bool
}

// Capture records what arrives by UDP at the interface of a namespace of the pair.
func (p *Pair) Capture(t testing.TB, ns string) *Capture {
	t.Helper()
	return p.CaptureOnly(t, ns, "udp")
}

// CaptureOnly records what a filter in libpcap's language lets through.
func (p *Pair) CaptureOnly(t testing.TB, ns, filter string) *Capture {
	t.Helper()
	NeedTool(t, "tshark", "dumpcap")
	c := &Capture{t: t, file: filepath.Join(t.TempDir(), "capture.pcapng")}
	ctx, cancel := context.WithCancel(context.Background())
	c.cmd = p.Command(ctx, ns, "dumpcap", "-q", "-B", "64", "-i", Interface, "-f", filter, "-w", c.file)
	c.cmd.Stderr = &c.talk
	if err := c.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(cancel)
	Eventually(t, 20*time.Second, "capturing", func() bool { return c.talk.Count("File: ") > 0 })
	return c
}

// Fields stops the capture and returns, for each packet that the display filter
// takes, the fields as tshark's ACN dissector reads them. The dissector is off by
// default, and so is its reading of E1.31.
func (c *Capture) Fields(filter string, fields ...string) [][]string {
	c.t.Helper()
	c.Stop()
	args := []string{"-n", "-r", c.file, "--enable-heuristic", "acn", "-o", "acn.dmx_enable:TRUE", "-Y", filter, "-T", "fields", "-E", "separator=/t"}
	if c.Checksums {
		args = append(args, "-o", "ip.check_checksum:TRUE", "-o", "udp.check_checksum:TRUE")
	}
	for _, f := range fields {
		args = append(args, "-e", f)
	}
	cmd := exec.Command("tshark", args...)
	var talk bytes.Buffer
	cmd.Stderr = &talk
	out, err := cmd.Output()
	if err != nil {
		c.t.Fatalf("tshark %q: %v: %s", args, err, talk.String())
	}
	var rows [][]string
	for line := range strings.Lines(string(out)) {
		rows = append(rows, strings.Split(strings.TrimRight(line, "\n"), "\t"))
	}
	return rows
}

// Stop ends the capture; what has arrived by then is in the file.
func (c *Capture) Stop() {
	c.t.Helper()
	if c.cmd.ProcessState != nil {
		return
	}
	time.Sleep(700 * time.Millisecond) // dumpcap hands over packets in batches, up to 250 ms late on a quiet machine
	if err := c.cmd.Process.Signal(syscall.SIGINT); err != nil {
		c.t.Fatal(err)
	}
	if err := c.cmd.Wait(); err != nil {
		c.t.Fatalf("dumpcap: %v: %s", err, c.talk.String())
	}
}
