package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/url"
	"time"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/program"
	"yardproof/cmd/yardproof/internal/state"
	"yardproof/cmd/yardproof/internal/web"
)

func linkCommand() program.Command {
	return program.Command{
		Name: "link",
		Does: "Print a link and its QR code that let one more phone open the page",
		Define: func(fs *pflag.FlagSet) program.Run {
			dir := fs.String("state", "", stateUsage)
			name := fs.String("name", "", "what to `call` the phone, such as \"anna's phone\" (default: a number)")
			return program.NoArgs(func(_ context.Context, std program.Stdio) error {
				path, err := state.Place(*dir)
				if err != nil {
					return err
				}
				link, err := web.NewLink(path, *name)
				if err != nil {
					return err
				}
				at, err := url.Parse(link)
				if err != nil {
					return err
				}
				conn, err := net.DialTimeout("tcp", at.Host, time.Second)
				if _, ok := errors.AsType[*net.DNSError](err); ok { // phones may know the certificate's name; we need not
					return web.PrintLink(std.Out, std.Err, link)
				}
				if err != nil {
					return cli.Hint(fmt.Errorf("nothing answers at %s: %w", at.Host, err), "start the transmitter first: yardproof run, or burn-in")
				}
				conn.Close()
				return web.PrintLink(std.Out, std.Err, link)
			})
		},
	}
}
