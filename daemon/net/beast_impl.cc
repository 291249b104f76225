// Beast's own code, compiled here once (BOOST_BEAST_SEPARATE_COMPILATION).
#include <boost/beast/src.hpp>
