package metrics

import (
	"context"
	"errors"
	"net"
	"net/http"
	"time"
)

// Serve answers GET /metrics on ln until ctx ends.
func Serve(ctx context.Context, ln net.Listener, handler http.Handler) error {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", handler)
	server := &http.Server{Handler: mux, ReadHeaderTimeout: 5 * time.Second, IdleTimeout: time.Minute}
	context.AfterFunc(ctx, func() { server.Close() })
	if err := server.Serve(ln); !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}
