package web

import (
	"bytes"
	"net"
	"os/exec"
	"strconv"
	"strings"
	"testing"

	"yardproof/sacn/sacntest"
)

// zbarimg, a reader of codes that we did not write, reads what the terminal shows.
func TestQRIsReadable(t *testing.T) {
	sacntest.NeedTool(t, "zbarimg")
	for _, link := range []string{"http://192.0.2.5:9531/#AAAAAAAAAAAAAAAAAAAAAA", "http://[2001:db8:1:2:3:4:5:6]:9531/#_-abcdefghijklmnopqrstuv"} {
		text, err := QR(link)
		if err != nil {
			t.Fatal(err)
		}
		file := sacntest.File(t, "qr.pgm", picture(text))
		out, err := exec.Command("zbarimg", "--raw", "-q", file).Output()
		if got := strings.TrimSpace(string(out)); err != nil || got != link {
			t.Errorf("%s is read as %q, %v", link, got, err)
		}
	}
}

// picture draws what a terminal with white on black shows, eight by eight dots
// for each half of a character cell.
func picture(text string) []byte {
	const dots = 8
	var rows [][]byte
	for line := range strings.Lines(text) {
		line = strings.TrimSuffix(strings.TrimPrefix(line, "\x1b[97;40m"), "\x1b[0m\n")
		var up, low []byte
		for _, r := range line {
			u, l := byte(0), byte(0)
			if r == '█' || r == '▀' {
				u = 255
			}
			if r == '█' || r == '▄' {
				l = 255
			}
			up, low = append(up, bytes.Repeat([]byte{u}, dots)...), append(low, bytes.Repeat([]byte{l}, dots)...)
		}
		for range dots {
			rows = append(rows, up)
		}
		for range dots {
			rows = append(rows, low)
		}
	}
	out := []byte("P5\n" + strconv.Itoa(len(rows[0])) + " " + strconv.Itoa(len(rows)) + "\n255\n")
	return append(out, bytes.Join(rows, nil)...)
}

func TestAnnounce(t *testing.T) {
	dir := t.TempDir()
	if _, err := NewLink(dir, ""); err == nil {
		t.Error("there is a link to a page that was never announced")
	}
	for addr, want := range map[string]string{
		"192.0.2.5:9531": "http://192.0.2.5:9531", "[2001:db8::1]:80": "http://[2001:db8::1]:80", "127.0.0.1:9531": "http://127.0.0.1:9531",
	} {
		a, err := net.ResolveTCPAddr("tcp", addr)
		if err != nil {
			t.Fatal(err)
		}
		base, err := Announce(dir, a, nil)
		if err != nil || base != want {
			t.Errorf("%s is announced as %s, %v", addr, base, err)
		}
		link, err := NewLink(dir, "")
		if err != nil || !strings.HasPrefix(link, want+"/#") {
			t.Errorf("the link is %s, %v", link, err)
		}
	}
	base, err := Announce(dir, &net.TCPAddr{IP: net.IPv4zero, Port: 9531}, nil)
	if err != nil || strings.Contains(base, "0.0.0.0") {
		t.Errorf("all addresses are announced as %s, %v", base, err)
	}
}
