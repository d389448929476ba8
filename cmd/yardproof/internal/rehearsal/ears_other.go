//go:build !linux

package rehearsal

import (
	"context"
	"errors"
	"net"
)

// listenShared needs a loopback interface of more than one address.
func listenShared(context.Context, *net.UDPAddr) (*net.UDPConn, error) {
	return nil, errors.New("controllers with an address can be rehearsed on Linux only; leave address: out of the plan for this")
}
