// The doors for Android as one library (AAR). `build.sh` puts the compiled libraries and the bindings in place
// first. Not run in continuous integration: it needs the Android SDK.
plugins {
    id("com.android.library") version "8.7.3"
    id("org.jetbrains.kotlin.android") version "2.1.0"
    `maven-publish`
}

android {
    namespace = "backstraight"
    compileSdk = 35
    defaultConfig {
        minSdk = 26
        consumerProguardFiles("consumer-rules.pro")
        ndk { abiFilters += listOf("arm64-v8a", "armeabi-v7a", "x86_64") }
    }
    sourceSets["main"].kotlin.srcDirs("src/main/kotlin", "made/bindings")
    sourceSets["main"].jniLibs.srcDirs("made/jniLibs")
    compileOptions {
        sourceCompatibility = JavaVersion.VERSION_17
        targetCompatibility = JavaVersion.VERSION_17
    }
    kotlinOptions { jvmTarget = "17" }
    publishing { singleVariant("release") { withSourcesJar() } }
}

dependencies {
    // Devices with pages of 16 kB want 5.17 or later.
    api("net.java.dev.jna:jna:5.18.1@aar")
}

publishing {
    publications {
        register<MavenPublication>("release") {
            groupId = "backstraight"
            artifactId = "backstraight-android"
            version = providers.gradleProperty("backstraight.version").getOrElse("0.1.0")
            afterEvaluate { from(components["release"]) }
        }
    }
}
