package sacntest

import (
	"context"
	"io"
	"net"
	"net/http"
	"testing"
	"time"
)

// Dial connects from inside a namespace of the pair. The address must be one of
// numbers: a name, or two addresses, would be dialled from another thread.
func (p *Pair) Dial(ctx context.Context, ns, network, address string) (conn net.Conn, err error) {
	err = p.Inside(ns, func() (err error) {
		conn, err = new(net.Dialer).DialContext(ctx, network, address)
		return err
	})
	return conn, err
}

// Listen listens at a port of loopback that nobody uses, until the test ends.
func Listen(t testing.TB) net.Listener {
	t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { ln.Close() })
	return ln
}

// Unused is an address of loopback that nobody uses.
func Unused(t testing.TB) string {
	t.Helper()
	ln := Listen(t)
	ln.Close()
	return ln.Addr().String()
}

// transport is of HTTP from inside a namespace of the pair.
func (p *Pair) transport(ns string) *http.Transport {
	return &http.Transport{DialContext: func(ctx context.Context, network, address string) (net.Conn, error) {
		return p.Dial(ctx, ns, network, address)
	}}
}

// Client is an HTTP client that stands in a namespace of the pair.
func (p *Pair) Client(t testing.TB, ns string) *http.Client {
	transport := p.transport(ns)
	t.Cleanup(transport.CloseIdleConnections)
	return &http.Client{Transport: transport, Timeout: 20 * time.Second}
}

// Get fetches a page from inside a namespace of the pair, whatever its status; "" when it
// cannot. Whoever waits for something asks many times: no program is started for each.
func (p *Pair) Get(t testing.TB, ns, url string) string {
	t.Helper()
	transport := p.transport(ns)
	transport.DisableKeepAlives = true
	resp, err := (&http.Client{Transport: transport, Timeout: 5 * time.Second}).Get(url)
	if err != nil {
		return ""
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil {
		return ""
	}
	return string(text)
}
