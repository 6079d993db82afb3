# What compiler and linker offer against a fault that becomes an attack, each asked for first: a flag that
# this compiler or machine does not know is left out. FLECK_HARDENED lists what was taken. None of it
# changes a number. -DFLECK_HARDEN=OFF leaves it to whoever builds.
include(CheckCCompilerFlag)
include(CheckCSourceCompiles)
include(CheckLinkerFlag)
include(CheckPIESupported)

# with CMAKE_POSITION_INDEPENDENT_CODE: the program too is loaded at a new address each time
check_pie_supported(LANGUAGES C)

set(FLECK_HARDENED)

# a warning about a flag counts as a refusal: clang takes many and ignores them
set(CMAKE_REQUIRED_FLAGS -Werror)
foreach(flag -fstack-protector-strong -fstack-clash-protection -fcf-protection=full -mbranch-protection=standard)
    string(MAKE_C_IDENTIFIER "FLECK_HAS${flag}" known)
    check_c_compiler_flag(${flag} ${known})
    if(${known})
        add_compile_options(${flag})
        list(APPEND FLECK_HARDENED ${flag})
    endif()
endforeach()

# needs optimization and a C library that knows the level
foreach(level 3 2)
    set(known FLECK_HAS_FORTIFY_${level}_${CMAKE_BUILD_TYPE})
    set(CMAKE_TRY_COMPILE_CONFIGURATION ${CMAKE_BUILD_TYPE})
    check_c_source_compiles("
        #undef _FORTIFY_SOURCE
        #define _FORTIFY_SOURCE ${level}
        #include <stdio.h>
        #if !defined __OPTIMIZE__ || __USE_FORTIFY_LEVEL < ${level}
        #error no such level
        #endif
        int main(void) { return puts(\"\") < 0; }" ${known})
    unset(CMAKE_TRY_COMPILE_CONFIGURATION)
    if(${known})
        add_compile_options("$<$<NOT:$<CONFIG:Debug>>:-U_FORTIFY_SOURCE;-D_FORTIFY_SOURCE=${level}>")
        list(APPEND FLECK_HARDENED fortify)
        break()
    endif()
endforeach()
unset(CMAKE_REQUIRED_FLAGS)

foreach(flag relro now noexecstack)
    check_linker_flag(C -Wl,-z,${flag} FLECK_LINKS_${flag})
    if(FLECK_LINKS_${flag})
        add_link_options(-Wl,-z,${flag})
        list(APPEND FLECK_HARDENED ${flag})
    endif()
endforeach()
