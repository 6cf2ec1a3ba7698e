// A private certificate authority for tests, made with openssl(1) in a folder of its own.
#pragma once

#include <string>

#include "tests/daemon/link/child_process.h"
#include "tests/daemon/temp_folder.h"

namespace torpor::testing {

struct IssuedCertificate {
  std::string certificate;  // PEM files
  std::string key;
};

class CertificateAuthority {
 public:
  explicit CertificateAuthority(const std::string& name);

  [[nodiscard]] std::string certificate() const { return folder_.text() + "/authority.pem"; }
  // For a server or client. `alternative` is openssl's: "DNS:cellar.lan" or "IP:127.0.0.1".
  [[nodiscard]] IssuedCertificate issue(const std::string& name, const std::string& alternative,
                                        int days = 30);

 private:
  tests::TempFolder folder_;
};

}  // namespace torpor::testing
