package metrics

import (
	"testing"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
)

func TestInterfaceLint(t *testing.T) {
	registry := prometheus.NewPedanticRegistry()
	registry.MustRegister(Interface("lo"))
	if problems, err := testutil.GatherAndLint(registry); err != nil || len(problems) > 0 {
		t.Errorf("%v, %v", problems, err)
	}
}
