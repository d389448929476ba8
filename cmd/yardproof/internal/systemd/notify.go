// Package systemd tells the service manager how the program is doing, by the
// protocol of sd_notify(3). It refuses to know whether there is one: without a
// NOTIFY_SOCKET every call does nothing.
package systemd

import (
	"fmt"
	"net"
	"os"
	"strconv"
	"strings"
	"time"
)

// Notifier sends states to the service manager. A nil Notifier is ready for use
// and does nothing.
type Notifier struct{ conn net.Conn }

// FromEnvironment returns the notifier that NOTIFY_SOCKET names, nil when it
// names none. A name that begins with @ is in the abstract namespace.
func FromEnvironment() (*Notifier, error) {
	name := os.Getenv("NOTIFY_SOCKET")
	if name == "" {
		return nil, nil
	}
	conn, err := net.Dial("unixgram", name) // package net knows what @ means
	if err != nil {
		return nil, fmt.Errorf("NOTIFY_SOCKET: %w", err)
	}
	return &Notifier{conn}, nil
}

// patience is how long a manager may take to listen.
const patience = 500 * time.Millisecond

func (n *Notifier) send(lines ...string) {
	if n != nil {
		// A manager that does not listen cannot be helped, and must not stop the show.
		_ = n.conn.SetWriteDeadline(time.Now().Add(patience))
		_, _ = n.conn.Write([]byte(strings.Join(lines, "\n")))
	}
}

// Ready says that start-up, or a reload, is over.
func (n *Notifier) Ready() { n.send("READY=1") }

// Status says in words how things are.
func (n *Notifier) Status(format string, args ...any) {
	n.send("STATUS=" + strings.ReplaceAll(fmt.Sprintf(format, args...), "\n", " "))
}

// Reloading says that a reload has begun; Ready ends it. The manager wants to
// know the moment on its own clock, CLOCK_MONOTONIC.
func (n *Notifier) Reloading() {
	n.send("RELOADING=1", "MONOTONIC_USEC="+strconv.FormatInt(monotonic().Microseconds(), 10))
}

// Stopping says that the end has begun.
func (n *Notifier) Stopping() { n.send("STOPPING=1") }

// Alive feeds the watchdog.
func (n *Notifier) Alive() { n.send("WATCHDOG=1") }

// WatchdogInterval returns how often Alive is to be called: half of what
// WATCHDOG_USEC allows (sd_watchdog_enabled(3)); 0 when no watchdog waits for
// this process.
func WatchdogInterval() time.Duration {
	if pid := os.Getenv("WATCHDOG_PID"); pid != "" && pid != strconv.Itoa(os.Getpid()) {
		return 0
	}
	usec, err := strconv.ParseInt(os.Getenv("WATCHDOG_USEC"), 10, 64)
	if err != nil || usec <= 0 {
		return 0
	}
	return time.Duration(usec) * time.Microsecond / 2
}
