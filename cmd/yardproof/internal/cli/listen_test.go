package cli

import (
	"strings"
	"testing"

	"yardproof/sacn/sacntest"
)

// An address that is taken, and one that is not here, are said without the system's words.
func TestListenSaysWhy(t *testing.T) {
	taken := sacntest.Listen(t)
	for address, want := range map[string]string{
		taken.Addr().String(): "another program uses it; stop that one, or name another port",
		"192.0.2.253:9531":    "this computer has no such address; name an address of this computer; it has 127.0.0.1", // TEST-NET-1: nobody's
	} {
		ln, err := Listen("http", address)
		if err == nil {
			ln.Close()
			t.Fatalf("%s is opened", address)
		}
		if text := "--http " + address + ": " + want; !strings.HasPrefix(err.Error(), text) {
			t.Errorf("%q, want %q", err, text)
		}
	}
}
