package source

import (
	"errors"
	"fmt"
	"net"
	"os"
	"strings"
	"syscall"
	"testing"
)

// No word of the system is left where there is a plain one, and what stands around it is.
func TestExplain(t *testing.T) {
	refused := &os.SyscallError{Syscall: "bind", Err: syscall.EADDRINUSE}
	for want, err := range map[string]error{
		"this program is not allowed to":                                               syscall.EPERM,
		"watch on eth1: this program is not allowed to; run as root":                   fmt.Errorf("watch on eth1: %w; run as root", syscall.EPERM),
		"the page: another program uses it; stop that one":                             fmt.Errorf("the page: %w", &net.OpError{Op: "listen", Net: "udp4", Err: refused}),
		"bind to eth1: the interface is gone; plug it in again":                        fmt.Errorf("bind to eth1: %w", syscall.ENODEV),
		"the system says: " + syscall.EXDEV.Error():                                    syscall.EXDEV,
		"port 5568: another program uses it; stop that one (" + "it has it to itself)": fmt.Errorf("port 5568: %w (it has it to itself)", refused),
	} {
		got := Explain(err)
		if got.Error() != want || !errors.Is(got, err) {
			t.Errorf("%q, want %q", got, want)
		}
	}
	if err := errors.New("no cable"); Explain(err) != err || Explain(nil) != nil {
		t.Error("an error without a number is changed")
	}
	for _, errno := range usualErrnos { // those that the counters list at 0 have words of their own, with what to do
		if text := refusal(errno); strings.Contains(text, errno.Error()) || !strings.Contains(text, "; ") {
			t.Errorf("%s: %s", errnoName(errno), text)
		}
	}
}
