package source

import (
	"errors"
	"net/netip"
	"sync"
	"sync/atomic"
	"syscall"
)

// socket is what the frame clock needs of a socket. messages makes packets ready,
// once for all frames: nothing of it depends on what they carry. Each packet has
// headroom before it, and its group unless the socket is connected.
type socket interface {
	messages(packets [][]byte, groups []netip.Addr) messages
	Close() error
}

// messages are packets as their socket wants them. send returns how many of those
// in [from, to) were taken; an error is about the first that was not. It may wait
// a little for a full queue if it is to be patient; a queue that stays full is
// [os.ErrDeadlineExceeded].
type messages interface {
	send(from, to int, patient bool) (int, error)
}

// route is a way out: the multicast socket, or one connected to a controller.
// The socket behind it comes and goes with the interface.
type route struct {
	unicast netip.Addr // the zero Addr: multicast
	refs    int        // under routes.mu
	now     atomic.Pointer[openSocket]
}

// openSocket is an open socket, or the reason why there is none.
type openSocket struct {
	socket socket
	fault  syscall.Errno
	err    error
}

// socket returns the socket; nil when there is none, with the reason if it
// should have been there.
func (w *route) socket() (socket, syscall.Errno) {
	h := w.now.Load()
	if h == nil {
		return nil, 0
	}
	return h.socket, h.fault
}

// routes are all ways out. The sending goroutine never waits for what happens here.
type routes struct {
	dial func(state linkState, unicast netip.Addr) (socket, error)

	mu    sync.Mutex
	state linkState // that the sockets were made for
	up    bool
	all   map[netip.Addr]*route
}

// get returns the route to a controller, or for multicast with the zero Addr. Each
// get needs its release.
func (ws *routes) get(unicast netip.Addr) *route {
	ws.mu.Lock()
	defer ws.mu.Unlock()
	w := ws.all[unicast]
	if w == nil {
		w = &route{unicast: unicast}
		ws.all[unicast] = w
		if ws.up {
			ws.connect(w)
		}
	}
	w.refs++
	return w
}

func (ws *routes) release(held []*route) {
	ws.mu.Lock()
	defer ws.mu.Unlock()
	for _, w := range held {
		if w.refs--; w.refs == 0 {
			delete(ws.all, w.unicast)
			w.replace(nil)
		}
	}
}

// replace puts another socket in place of the present one, which it closes.
func (w *route) replace(h *openSocket) {
	if old := w.now.Swap(h); old != nil && old.socket != nil {
		old.socket.Close()
	}
}

func (ws *routes) connect(w *route) error {
	sock, err := ws.dial(ws.state, w.unicast)
	if err != nil {
		fault := syscall.EIO
		errors.As(err, &fault)
		w.replace(&openSocket{fault: fault, err: err})
		return err
	}
	w.replace(&openSocket{socket: sock})
	return nil
}

// setUp makes all sockets anew. It fails when there is no multicast socket; one
// controller that cannot be reached does not stop the others.
func (ws *routes) setUp(state linkState) error {
	ws.mu.Lock()
	defer ws.mu.Unlock()
	ws.state, ws.up = state, true
	var failed error
	for _, w := range ws.all {
		if err := ws.connect(w); err != nil && !w.unicast.IsValid() {
			failed = err
		}
	}
	return failed
}

// retry dials what could not be dialled before, and returns what failed again.
func (ws *routes) retry() (failed []error) {
	ws.mu.Lock()
	defer ws.mu.Unlock()
	if !ws.up {
		return nil
	}
	for _, w := range ws.all {
		if h := w.now.Load(); h == nil || h.err != nil {
			if err := ws.connect(w); err != nil {
				failed = append(failed, err)
			}
		}
	}
	return failed
}

// takeDown closes all sockets.
func (ws *routes) takeDown() {
	ws.mu.Lock()
	defer ws.mu.Unlock()
	ws.up = false
	for _, w := range ws.all {
		w.replace(nil)
	}
}

func (ws *routes) serves(state linkState) bool {
	ws.mu.Lock()
	defer ws.mu.Unlock()
	return ws.up && ws.state.sameWire(state)
}

// present returns the state that the sockets were made for.
func (ws *routes) present() linkState {
	ws.mu.Lock()
	defer ws.mu.Unlock()
	return ws.state
}
