package rehearsal

import (
	"context"
	"net"
	"syscall"

	"golang.org/x/sys/unix"
)

// listenShared listens at one of this machine's addresses beside whoever listens on
// the port for all of them.
func listenShared(ctx context.Context, addr *net.UDPAddr) (*net.UDPConn, error) {
	lc := net.ListenConfig{Control: func(_, _ string, raw syscall.RawConn) (err error) {
		if e := raw.Control(func(fd uintptr) { err = unix.SetsockoptInt(int(fd), unix.SOL_SOCKET, unix.SO_REUSEADDR, 1) }); e != nil {
			return e
		}
		return err
	}}
	c, err := lc.ListenPacket(ctx, "udp4", addr.String())
	if err != nil {
		return nil, err
	}
	return c.(*net.UDPConn), nil
}
