package access

import (
	"context"
	"errors"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"
)

// issuer gives people tokens in our stead: JSON Web Tokens with this server as
// their audience. Who somebody is and what groups they are of is the issuer's to
// say, what a group may do is ours.
type issuer struct {
	provider               *provider
	nameClaim, groupsClaim string
	grants                 []groupGrant
}

// verify checks a token and gives what it says.
func (i *issuer) verify(ctx context.Context, raw string) (proof, error) {
	token, err := i.provider.verify(ctx, raw)
	var expired *oidc.TokenExpiredError
	var no *refusal
	switch {
	case errors.As(err, &no):
		return nil, no
	case errors.As(err, &expired):
		return nil, refuse(notSignedIn, "the token expired at %s", expired.Expiry.UTC().Format(time.RFC3339))
	case err != nil:
		return nil, refuse(notSignedIn, "the token is not taken: %v", err)
	}
	var claims map[string]any
	if err := token.Claims(&claims); err != nil {
		return nil, refuse(notSignedIn, "the token is not taken: its claims cannot be read")
	}
	p := claimsProof{issuer: i.provider.url, subject: token.Subject, expires: token.Expiry, groups: texts(claims[i.groupsClaim])}
	if p.name, _ = claims[i.nameClaim].(string); p.name == "" || len(p.name) > maxName || p.subject == "" {
		return nil, refuse(notSignedIn, "the token is not taken: it has no sub, or no %s of at most %d bytes", i.nameClaim, maxName)
	}
	return p, nil
}

// texts reads a claim that is a text or a list of them.
func texts(claim any) (out []string) {
	switch claim := claim.(type) {
	case string:
		out = append(out, claim)
	case []any:
		for _, c := range claim {
			if s, ok := c.(string); ok {
				out = append(out, s)
			}
		}
	}
	return out
}
