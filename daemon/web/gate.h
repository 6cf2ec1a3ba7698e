// Who may see the pages: the Host header, the token, the cookie. Knows no sockets.
//
// Host is checked because a foreign page can make a browser ask any address by a name of its own
// (DNS rebinding). The token is asked for by HTTP's own means (RFC 7617: any name, the token as
// password), so it never stands in an address, and no page needs a form: only GET and HEAD exist.
// Afterwards a cookie stands for it, which is made from the token but does not tell it.
#pragma once

#include <string>
#include <string_view>

namespace torpor::daemon {

struct GateSettings {
  std::string address;  // as configured: "http://cellar.lan:8457"; empty: none
  std::string token;    // empty: everybody who reaches us may look
};

struct Visitor {
  std::string_view host, authorization, cookie;  // headers as sent; empty: none
  std::string_view local_address;                // "192.168.1.7:8457": where it reached us
};

enum class Passage {
  open,
  entered,  // the token was right: the cookie is to be set
  wrong_host,
  no_token,
  wrong_token,  // to be answered slowly (wrong_tokens.h)
};

class Gate {
 public:
  explicit Gate(const GateSettings& settings);
  [[nodiscard]] Passage judge(const Visitor& visitor) const;
  // The whole Set-Cookie value.
  [[nodiscard]] std::string set_cookie() const;

 private:
  [[nodiscard]] bool host_is_ours(const Visitor& visitor) const;

  std::string host_;  // of the address, with its port if it has one
  bool encrypted_ = false;
  std::string token_;
  std::string pass_;  // the cookie's value
};

// The token in "Basic base64(name:token)"; empty: none there.
[[nodiscard]] std::string token_of(std::string_view authorization);
// The value of one cookie in a Cookie header; empty: not there.
[[nodiscard]] std::string_view cookie_named(std::string_view header, std::string_view name);

}  // namespace torpor::daemon
