#include "tests/daemon/link/certificates.h"

#include <fstream>

namespace torpor::testing {

CertificateAuthority::CertificateAuthority(const std::string& name) {
  run_command({"openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt",
               "ec_paramgen_curve:prime256v1", "-nodes", "-days", "30", "-subj", "/CN=" + name,
               "-addext", "keyUsage=critical,keyCertSign", "-keyout",
               folder_.text() + "/authority.key", "-out", certificate()});
}

IssuedCertificate CertificateAuthority::issue(const std::string& name,
                                              const std::string& alternative, int days) {
  const std::string stem = folder_.text() + "/" + name;
  run_command({"openssl", "req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1",
               "-nodes", "-subj", "/CN=" + name, "-keyout", stem + ".key", "-out", stem + ".csr"});
  std::ofstream(stem + ".ext") << "subjectAltName=" << alternative << "\n";
  run_command({"openssl", "x509", "-req", "-in", stem + ".csr", "-CA", certificate(), "-CAkey",
               folder_.text() + "/authority.key", "-CAcreateserial", "-days", std::to_string(days),
               "-extfile", stem + ".ext", "-out", stem + ".pem"});
  return {stem + ".pem", stem + ".key"};
}

}  // namespace torpor::testing
