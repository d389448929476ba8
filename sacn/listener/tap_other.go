//go:build !linux

package listener

import (
	"errors"
	"fmt"
	"net"
)

type tapSocket struct{ socket }

func openTap(*net.Interface, bool, int) (*tapSocket, error) {
	return nil, fmt.Errorf("hearing one's own stream needs Linux's packet sockets: %w", errors.ErrUnsupported)
}
