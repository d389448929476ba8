package sacntest

import (
	"context"
	"net"
	"net/http"
	"os"
	"runtime"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// Inside runs do on a thread that stands in a namespace of the pair; the sockets
// that do opens stay there.
func (p *Pair) Inside(ns string, do func() error) error {
	errs := make(chan error, 1)
	go func() {
		runtime.LockOSThread() // and never unlocked: the thread ends with the goroutine
		file, err := os.Open("/run/netns/" + ns)
		if err != nil {
			errs <- err
			return
		}
		defer file.Close()
		if err := unix.Setns(int(file.Fd()), unix.CLONE_NEWNET); err != nil {
			errs <- os.NewSyscallError("setns", err)
			return
		}
		errs <- do()
	}()
	return <-errs
}

// Dial connects from inside a namespace of the pair. The address must be one of
// numbers: a name, or two addresses, would be dialled from another thread.
func (p *Pair) Dial(ctx context.Context, ns, network, address string) (conn net.Conn, err error) {
	err = p.Inside(ns, func() (err error) {
		conn, err = new(net.Dialer).DialContext(ctx, network, address)
		return err
	})
	return conn, err
}

// Client is an HTTP client that stands in a namespace of the pair.
func (p *Pair) Client(t testing.TB, ns string) *http.Client {
	transport := &http.Transport{DialContext: func(ctx context.Context, network, address string) (net.Conn, error) {
		return p.Dial(ctx, ns, network, address)
	}}
	t.Cleanup(transport.CloseIdleConnections)
	return &http.Client{Transport: transport, Timeout: 20 * time.Second}
}
