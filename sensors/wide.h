// Whole numbers of more than 64 bits: sums of millionths times milliseconds, over years, that come
// out the same in whatever order they were made.
#pragma once

#ifndef __SIZEOF_INT128__
#include <boost/multiprecision/cpp_int.hpp>
#endif

namespace torpor {

#ifdef __SIZEOF_INT128__
__extension__ typedef __int128 Wide;
#else  // machines of 32 bits
using Wide = boost::multiprecision::int128_t;
#endif

}  // namespace torpor
