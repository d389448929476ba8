package main

import (
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"yardproof/cmd/yardproof/internal/record"
	"yardproof/sacn/sacntest"
)

const darkPage = sacntest.NearAddr4 + ":9531"

type darkOptions struct {
	universes int
	lines     int    // on record
	talk      bool   // standard output and error are full pipes that nobody reads
	manager   bool   // the service manager does not read its socket
	power     bool   // strings that somebody has to find feeds for
	group     string // the process list of a control group that it is to be in
}

// darkYard is the program in a namespace, with phones and strangers at the far end.
type darkYard struct {
	t       testing.TB
	pair    *sacntest.Pair
	state   string
	process *os.Process
	ended   chan struct{}
	cookie  *http.Cookie
	phone   *http.Client // whose hand is on dark

	pipe      *os.File
	notify    int // a socket to the service manager, which takes no more
	strangers []net.Conn
	bodies    []net.Conn
	looking   net.Conn // over which a proposal is told
	disk      int      // a fanotify group that lets nobody open anything; -1: none
}

// A load is something that could keep people from dark.
type load struct {
	name    string
	options darkOptions                             // how the program is to be started
	begin   func(*darkYard)                         // nil: it is there from the start
	held    func(y *darkYard, now darkState) string // why it was not in place at that answer
	fades   bool                                    // the program ends it after seconds: on a slow machine it is to be begun again
}

func loads() []load {
	return []load{
		{"a stopped terminal", darkOptions{talk: true}, nil, func(y *darkYard, _ darkState) string {
			var ready [1]unix.PollFd
			ready[0] = unix.PollFd{Fd: int32(y.pipe.Fd()), Events: unix.POLLOUT}
			if n, err := unix.Poll(ready[:], 0); n != 0 || err != nil {
				return "the pipe takes more"
			}
			return ""
		}, false},
		{"a service manager that does not read", darkOptions{manager: true}, nil, func(y *darkYard, _ darkState) string {
			if y.fillManager() > 0 {
				return "there was room for more"
			}
			return ""
		}, false},
		{"a long record, asked for by four phones", darkOptions{lines: 200_000}, (*darkYard).askForProofs, func(*darkYard, darkState) string { return "" }, false},
		{"17 addresses of strangers with 32 connections each", darkOptions{}, (*darkYard).crowd, func(y *darkYard, _ darkState) string {
			open := 0
			for _, c := range y.strangers {
				if waits(c) {
					open++
				}
			}
			if open < 400 {
				return fmt.Sprintf("%d are open", open)
			}
			return ""
		}, true},
		{"64 event streams that nobody reads", darkOptions{}, (*darkYard).openStreams, func(_ *darkYard, now darkState) string {
			if now.Phones < 60 {
				return fmt.Sprintf("%d are open", now.Phones)
			}
			return ""
		}, false},
		{"30 requests for dark that do not go on", darkOptions{}, (*darkYard).slowBodies, func(y *darkYard, _ darkState) string {
			for _, c := range y.bodies {
				if !waits(c) {
					return "one was answered"
				}
			}
			return ""
		}, false},
		{"a proposal for the power of all strings", darkOptions{power: true}, (*darkYard).propose, (*darkYard).proposing, true},
		{"a disk that hangs", darkOptions{}, (*darkYard).hangDisk, func(y *darkYard, now darkState) string {
			if n, err := unix.Poll([]unix.PollFd{{Fd: int32(y.disk), Events: unix.POLLIN}}, 0); n != 1 || err != nil {
				return "nobody waits for it"
			}
			if now.Hold == nil || now.Hold.Kept == nil || *now.Hold.Kept {
				return "the hold is said to be on disk"
			}
			return ""
		}, false},
	}
}

// waits reports whether a connection is open and nothing has come over it.
func waits(c net.Conn) bool {
	c.SetReadDeadline(time.Now().Add(time.Millisecond))
	_, err := c.Read(make([]byte, 1))
	return os.IsTimeout(err)
}

func startDarkYard(t testing.TB, o darkOptions) *darkYard {
	y := &darkYard{t: t, pair: sacntest.NewPair(t), state: t.TempDir(), ended: make(chan struct{}), disk: -1}
	y.record(o.lines)
	for i := range 20 {
		y.pair.Run(t, y.pair.Far, "ip addr add "+strangerAt(i)+"/24 dev yard0")
	}
	cmd := y.pair.Command(context.Background(), y.pair.Near, os.Args[0], "run", o.plan(t), "--no-scan", "--state", y.state, "--http", darkPage)
	cmd.Env = append(os.Environ(), sacntest.AsProgram+"=1")
	if o.manager {
		at := &net.UnixAddr{Name: t.TempDir() + "/n", Net: "unixgram"}
		manager, err := net.ListenUnixgram("unixgram", at)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { manager.Close() })
		if y.notify, err = unix.Socket(unix.AF_UNIX, unix.SOCK_DGRAM|unix.SOCK_NONBLOCK|unix.SOCK_CLOEXEC, 0); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { unix.Close(y.notify) })
		if err := unix.Connect(y.notify, &unix.SockaddrUnix{Name: at.Name}); err != nil {
			t.Fatal(err)
		}
		if y.fillManager() == 0 {
			t.Fatal("the service manager's socket takes nothing")
		}
		cmd.Env = append(cmd.Env, "NOTIFY_SOCKET="+at.Name)
	}
	if o.talk {
		y.pipe = fullPipe(t)
		cmd.Stdout, cmd.Stderr = y.pipe, y.pipe
	}
	cmd = within(cmd, o.group)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	y.process = cmd.Process
	go func() { cmd.Wait(); close(y.ended) }()
	t.Cleanup(func() { y.release(); y.process.Kill(); <-y.ended })
	y.letIn()
	return y
}

func fullPipe(t testing.TB) *os.File {
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Close(); w.Close() })
	size, err := unix.FcntlInt(w.Fd(), unix.F_SETPIPE_SZ, 4096)
	if err == nil {
		_, err = w.Write(make([]byte, size))
	}
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// fillManager sends to the service manager until its queue is full, and returns how much
// there was room for.
func (y *darkYard) fillManager() (n int) {
	for {
		if _, err := unix.Write(y.notify, []byte("STATUS=busy")); err != nil {
			return n
		}
		n++
	}
}

// record writes proofs of all strings, one after the other.
func (y *darkYard) record(lines int) {
	var text strings.Builder
	for i := range lines {
		fmt.Fprintf(&text, `{"time":"2026-11-20T12:00:00Z","kind":"proof","string":"quay-%04d","label":"Q%d","stage":%q,"verdict":"good","note":%q}`+"\n",
			i%1000, i%1000, record.Stages()[i/1000%3], strings.Repeat("dry and still; ", 20))
	}
	sacntest.Write(y.t, filepath.Join(y.state, record.FileName), text.String())
}

func strangerAt(i int) string { return fmt.Sprintf("10.77.0.%d", 50+i) }

// connect opens a connection from an address at the far end.
func (y *darkYard) connect(from string) (c net.Conn, err error) {
	err = y.pair.Inside(y.pair.Far, func() (err error) {
		d := net.Dialer{Timeout: 10 * time.Second, LocalAddr: &net.TCPAddr{IP: net.ParseIP(from)}}
		c, err = d.Dial("tcp", darkPage)
		return err
	})
	return c, err
}

func (y *darkYard) open(from string) net.Conn {
	y.t.Helper()
	c, err := y.connect(from)
	if err != nil {
		y.t.Fatal(err)
	}
	y.t.Cleanup(func() { c.Close() })
	return c
}

func (y *darkYard) client(from string) *http.Client {
	c := &http.Client{Timeout: 20 * time.Second, Transport: &http.Transport{
		DialContext: func(context.Context, string, string) (net.Conn, error) { return y.connect(from) },
	}}
	y.t.Cleanup(c.CloseIdleConnections)
	return c
}

// letIn opens a link, as a phone does.
func (y *darkYard) letIn() {
	y.phone = y.client(sacntest.FarAddr4)
	sacntest.Eventually(y.t, 60*time.Second, "serving its page", func() bool {
		resp, err := y.phone.Get("http://" + darkPage + "/readyz")
		if err != nil {
			return false
		}
		resp.Body.Close()
		return resp.StatusCode == http.StatusOK
	})
	prog := sacntest.Start(y.t, "link", "--state", y.state)
	prog.Ends(time.Minute)
	link := prog.Stdout()
	_, token, _ := strings.Cut(strings.TrimSpace(link), "#")
	resp, err := y.phone.Post("http://"+darkPage+"/api/session", "application/json", strings.NewReader(`{"token":"`+token+`"}`))
	if err != nil {
		y.t.Fatal(err)
	}
	resp.Body.Close()
	if len(resp.Cookies()) != 1 {
		y.t.Fatalf("the link %s is answered %s", link, resp.Status)
	}
	y.cookie = resp.Cookies()[0]
}

// askForProofs has four phones ask for all that is on record, without a pause.
func (y *darkYard) askForProofs() {
	ctx, cancel := context.WithCancel(context.Background())
	var asking sync.WaitGroup
	y.t.Cleanup(func() { cancel(); asking.Wait() })
	answered := make(chan struct{}, 1)
	for i := range 4 {
		client := y.client(strangerAt(16 + i))
		asking.Go(func() {
			for ctx.Err() == nil {
				resp, err := y.get(ctx, client, "/api/proofs")
				if err != nil {
					continue
				}
				io.Copy(io.Discard, resp.Body)
				resp.Body.Close()
				select {
				case answered <- struct{}{}:
				default:
				}
			}
		})
	}
	<-answered
}

func (y *darkYard) crowd() {
	for i := range 17 {
		for range 32 {
			y.strangers = append(y.strangers, y.open(strangerAt(i)))
		}
	}
}

// openStreams opens streams of the page as a phone, and reads none.
func (y *darkYard) openStreams() {
	for i := range 64 {
		fmt.Fprintf(y.open(strangerAt(i%4)), "GET /api/events HTTP/1.1\r\nHost: %s\r\nCookie: %s\r\n\r\n", darkPage, y.cookie)
	}
	sacntest.Eventually(y.t, 30*time.Second, "all streams open", func() bool {
		now, err := y.dark(y.phone)
		return err == nil && now.Phones >= 60
	})
}

func (y *darkYard) slowBodies() {
	for i := range 30 {
		c := y.open(strangerAt(8 + i%8))
		fmt.Fprintf(c, "POST /api/dark HTTP/1.1\r\nHost: %s\r\nCookie: %s\r\nContent-Type: application/json\r\nContent-Length: 1000\r\n\r\n{", darkPage, y.cookie)
		y.bodies = append(y.bodies, c)
	}
}

// hangDisk lets nobody open anything in the state directory, and answers no one who asks.
func (y *darkYard) hangDisk() {
	fd, err := unix.FanotifyInit(unix.FAN_CLASS_CONTENT|unix.FAN_CLOEXEC|unix.FAN_NONBLOCK, unix.O_RDONLY)
	if err != nil {
		sacntest.Missing(y.t, "fanotify: "+err.Error())
	}
	y.disk = fd
	for _, dir := range []string{y.state, filepath.Join(y.state, "phones"), filepath.Join(y.state, "links")} {
		if err := unix.FanotifyMark(fd, unix.FAN_MARK_ADD, unix.FAN_OPEN_PERM|unix.FAN_EVENT_ON_CHILD|unix.FAN_ONDIR, unix.AT_FDCWD, dir); err != nil && dir == y.state {
			y.t.Fatal(err)
		}
	}
	sacntest.Eventually(y.t, 30*time.Second, "waiting for the disk", func() bool {
		n, err := unix.Poll([]unix.PollFd{{Fd: int32(fd), Events: unix.POLLIN}}, 0)
		return n == 1 && err == nil
	})
}

// release lets the disk answer again.
func (y *darkYard) release() {
	if y.disk >= 0 {
		unix.Close(y.disk)
		y.disk = -1
	}
}
