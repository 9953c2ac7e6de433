"""The store on disk: manifests, intakes, snapshots, settings."""
