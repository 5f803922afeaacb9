package main

import (
	"fmt"
	"io"
	"path/filepath"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"hawser/services/access/keyring"
)

func newKeys(s streams) *cobra.Command {
	o := keyring.Options{For: 90 * 24 * time.Hour}
	cmd := &cobra.Command{
		Use:   "keys --berth BERTH [flags] FOLDER",
		Short: "Make certificates and tokens for a trial",
		Long: `keys makes all that a server beyond loopback needs for a trial, in a new folder:
an authority, a certificate for the server, one for a gateway bound to its
berths, a token for each role, and the settings that put them to use. The tokens
are printed once; the folder keeps only their hashes.

For more than a trial use an authority of your own, and keep its key elsewhere.`,
		Example: `  hawser keys --berth east-3 trial
  hawser keys --berth east-3 --berth east-4 --host berths.example --ship "Heron of Aldmouth" trial`,
		Args: cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			o.Dir = args[0]
			made, err := keyring.Make(o)
			if err != nil {
				return usageError{err}
			}
			return printKeys(s.out, made)
		},
	}
	f := cmd.Flags()
	f.StringArrayVar(&o.Berths, "berth", nil, "`BERTH` the gateway sends for; may be given again")
	f.StringArrayVar(&o.Hosts, "host", nil, "`NAME` or address the server is reached by, beside this machine's own; may be given again")
	f.StringArrayVar(&o.Ships, "ship", nil, "`SHIP` whose crew get a token, by her name in the plan; may be given again")
	f.DurationVar(&o.For, "for", o.For, "how long they are good")
	return cmd
}

func printKeys(w io.Writer, m *keyring.Made) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "made %s, good until %s\n\ntokens, shown this once\n", m.Dir, m.Until.Format("2 Jan 2006, 15:04 UTC"))
	for _, token := range m.Tokens {
		fmt.Fprintf(t, "  %s\t%s\t%s\n", token.Name, token.Grant.Over(), token.Token)
	}
	fmt.Fprintf(t, "\nthe server   hawser serve --config %s\n", filepath.Join(m.Dir, keyring.SettingsFile))
	fmt.Fprintf(t, "a gateway    hawser send --keys %s --plan PLAN --to HOST:7411 RECORDING\n", m.Dir)
	fmt.Fprintf(t, "a browser    must trust %s\n", filepath.Join(m.Dir, keyring.CAFile))
	return t.Flush()
}
