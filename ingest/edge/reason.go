package edge

import (
	"strconv"
	"strings"

	"google.golang.org/grpc/status"
)

// Reason is what the other side of a gRPC call said, or why it could not be reached,
// without the words of the transport.
func Reason(err error) string {
	st, ok := status.FromError(err)
	if !ok {
		return err.Error()
	}
	text, unreached := strings.CutPrefix(st.Message(), "connection error: desc = ")
	if !unreached {
		return text
	}
	if plain, err := strconv.Unquote(text); err == nil {
		text = plain
	}
	if strings.Contains(text, "looked like an HTTP/1.1 header") {
		return "HTTP/1.1 is spoken there: pages have another address than gRPC"
	}
	return strings.TrimPrefix(text, "transport: Error while dialing: ")
}
