package dashboards

import (
	"encoding/json"
	"errors"
	"reflect"
	"strings"

	"github.com/grafana/grafana-foundation-sdk/go/cog/variants"
	"github.com/grafana/grafana-foundation-sdk/go/common"
)

// Flux is a query of an InfluxDB source, which the schema library has no type for.
type Flux struct {
	RefID      string               `json:"refId"`
	Hide       *bool                `json:"hide,omitempty"`
	Query      string               `json:"query"`
	Datasource common.DataSourceRef `json:"datasource"`
}

// The methods of variants.Dataquery.

func (Flux) ImplementsDataqueryVariant() {}
func (Flux) DataqueryType() string       { return InfluxDB }
func (f Flux) Equals(other variants.Dataquery) bool {
	return reflect.DeepEqual(f, other)
}

func (f Flux) Validate() error {
	if f.RefID == "" || f.Query == "" {
		return errors.New("a Flux query needs a name and a text")
	}
	return nil
}

// Build makes it its own builder.
func (f Flux) Build() (variants.Dataquery, error) { return f, f.Validate() }

// FluxVariant lets boards with such queries be read.
func FluxVariant() variants.DataqueryConfig {
	read := func(raw []byte) (variants.Dataquery, error) {
		var f Flux
		dec := json.NewDecoder(strings.NewReader(string(raw)))
		dec.DisallowUnknownFields()
		if err := dec.Decode(&f); err != nil {
			return nil, err
		}
		return f, f.Validate()
	}
	return variants.DataqueryConfig{Identifier: InfluxDB, DataqueryUnmarshaler: read, StrictDataqueryUnmarshaler: read}
}
